// What the sheet shows: what the server had when it was asked, and over it what was entered here since.
const cell = (cup, pass, attribute) => `${cup}|${pass}|${attribute}`;

export class Model {
  constructor(data, touches) {
    this.take(data, touches);
  }

  take(data, touches) {
    this.data = data;
    this.values = new Map(data.ratings.map(([cup, pass, attribute, value, at]) => [cell(cup, pass, attribute), { value, at }]));
    this.said = new Map();
    for (const [cup, word] of data.words) this.wordsOf(cup).add(word);
    this.faults = new Set(data.faults);
    this.finished = data.finished;
    const since = touches.filter((t) => (!t.fate || t.acked > data.now) && t.fate !== "refused" && t.fate !== "late");
    for (const touch of since.sort((a, b) => a.at - b.at)) this.apply(touch);
  }

  wordsOf(cup) {
    if (!this.said.has(cup)) this.said.set(cup, new Set());
    return this.said.get(cup);
  }

  apply({ what, cup, pass, attribute, value, word, on, at }) {
    if (what === "rating") {
      const there = this.values.get(cell(cup, pass, attribute));
      if (!there || there.at <= at) this.values.set(cell(cup, pass, attribute), { value, at });
    } else if (what === "word") this.wordsOf(cup)[on ? "add" : "delete"](word);
    else if (what === "fault") this.faults[on ? "add" : "delete"](cup);
    else if (what === "done") this.finished = on;
  }

  value(cup, pass, attribute) {
    return this.values.get(cell(cup, pass, attribute))?.value ?? null;
  }

  // How much of a cup is rated in a pass: done, begun or none.
  state(cup, pass) {
    const given = this.data.asked.filter(({ key }) => this.value(cup, pass, key) !== null).length;
    return given === this.data.asked.length ? "done" : given ? "begun" : "none";
  }

  missing() {
    return this.data.passes.flatMap((pass, p) =>
      this.data.cups.map((cup, c) => ({ cup, pass, p, c })),
    ).filter(({ cup, pass }) => this.state(cup, pass.key) !== "done");
  }

  rated() {
    return [...this.values.values()].filter(({ value }) => value !== null).length;
  }

  // Cups of each pass that were tasted at all.
  tasted() {
    return this.data.passes.reduce(
      (n, pass) => n + this.data.cups.filter((cup) => this.state(cup, pass.key) !== "none").length,
      0,
    );
  }
}
