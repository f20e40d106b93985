// Sends curve files one by one, so that progress is true and a broken file stops no other. Files
// whose columns are new wait until somebody has named them, and are then sent again.
const form = document.querySelector("[data-take-in]");
const going = document.querySelector("[data-going]");
const says = going.querySelector("[data-says]");
const bar = going.querySelector("progress");
const asked = going.querySelector("[data-columns]");
const outcomes = document.querySelector("[data-outcomes]");
const list = outcomes.querySelector("[data-rows]");
const template = (name) => document.querySelector(`template[data-${name}]`).content;

let total = 0;
let good = 0;
let bad = 0;
const waiting = new Map();

const tell = () => {
  const held = [...waiting.values()].reduce((sum, files) => sum + files.length, 0);
  bar.max = Math.max(1, total);
  bar.value = good + bad;
  const parts = [`${good + bad} of ${total} files done`, `${good} in`];
  if (bad) parts.push(`${bad} not in`);
  if (held) parts.push(`${held} wait for their columns`);
  says.textContent = `${parts.join(", ")}.`;
};

const row = (name, state, said, url) => {
  const made = template("row").cloneNode(true).firstElementChild;
  const [head, badge, why] = made.children;
  head.textContent = name;
  badge.append(template(state).cloneNode(true));
  const text = said.charAt(0).toUpperCase() + said.slice(1);
  if (url) {
    const link = document.createElement("a");
    link.href = url;
    link.textContent = text;
    why.append(link);
  } else why.textContent = text;
  outcomes.hidden = false;
  // What needs somebody stands above what is well.
  if (state === "in") list.append(made);
  else list.prepend(made);
};

const settle = (name, ok, said, url) => {
  if (ok) good += 1;
  else bad += 1;
  row(name, ok ? "in" : "not-in", said, url);
};

const send = async (file) => {
  const body = new FormData(form);
  body.delete("curves");
  body.append("curves", file, file.name);
  let answer;
  try {
    const reply = await fetch(form.action, {
      method: "POST",
      body,
      headers: { Accept: "application/json" },
    });
    if (reply.status === 413) throw new Error("it is too large to be sent");
    if (!(reply.headers.get("Content-Type") ?? "").includes("json")) {
      throw new Error("the program did not take it; sign in again and send it once more");
    }
    answer = await reply.json();
  } catch (problem) {
    const lost = problem instanceof TypeError;
    settle(file.name, false, lost ? "the connection was lost; send it again" : problem.message);
    return;
  }
  const [found] = answer.files;
  if (!found) settle(file.name, false, answer.said ?? "it was not taken");
  else if (found.columns) await ask(found.columns, file);
  else settle(file.name, found.ok, found.said, found.url);
};

const ask = async (address, file) => {
  if (waiting.has(address)) {
    waiting.get(address).push(file);
    return;
  }
  waiting.set(address, [file]);
  const place = document.createElement("div");
  asked.append(place);
  const show = async (reply) => {
    place.innerHTML = await reply.text();
  };
  await show(await fetch(`${address}?part`));
  place.addEventListener("submit", async (event) => {
    event.preventDefault();
    event.stopPropagation();
    const reply = await fetch(`${address}?part`, {
      method: "POST",
      body: new FormData(event.target),
    });
    if (reply.status !== 204) {
      await show(reply);
      return;
    }
    place.remove();
    const files = waiting.get(address);
    waiting.delete(address);
    await work(files);
  });
};

const work = async (files) => {
  for (const file of files) {
    await send(file);
    tell();
  }
};

form.addEventListener("submit", async (event) => {
  const files = [...form.querySelector("input[type=file]").files];
  if (!files.length) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  const button = form.querySelector("button");
  button.disabled = true;
  total += files.length;
  going.hidden = false;
  tell();
  await work(files);
  form.querySelector("input[type=file]").value = "";
  button.disabled = false;
}, true);
