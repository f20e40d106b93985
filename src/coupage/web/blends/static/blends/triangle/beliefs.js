// What is believed of any recipe, from the posterior that the server sends: for each attribute a
// mixture of Gaussians over the terms of the blend (shares, then products of pairs). The same sums
// as coupage.panel on the server; a browser test holds them against each other.
import { below, density } from "./normal.js";

// 5 %, 25 %, 75 %, 95 % and their standard normal quantiles.
export const LEVELS = [0.05, 0.25, 0.75, 0.95];
const STANDARD = [-1.6448536269514722, -0.6744897501960817, 0.6744897501960817, 1.6448536269514722];

function numbers(text) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  return new Float64Array(bytes.buffer);
}

export class Attribute {
  constructor(sent) {
    this.name = sent.name;
    this.event = sent.event;
    this.wants = sent.wants;
    this.parts = sent.parts;
    this.terms = sent.terms;
    this.weights = numbers(sent.weights);
    this.partMeans = numbers(sent.means);
    this.covariances = numbers(sent.covariances);
    this.unseen = numbers(sent.unseen);
    this.means = new Float64Array(this.parts);
    this.sds = new Float64Array(this.parts);
    this.offsets = [...STANDARD]; // of the quantiles, in sds; where the last search ended
  }

  // Stand at one blend: mean and sd of every part of the mixture.
  stand(blend) {
    const { terms, products, unseen } = blend;
    let at = 0, entry = 0;
    for (let k = 0; k < this.parts; k++) {
      let mean = 0, variance = 0;
      for (let t = 0; t < this.terms; t++) mean += terms[t] * this.partMeans[at++];
      for (let e = 0; e < products.length; e++) variance += products[e] * this.covariances[entry++];
      this.means[k] = mean;
      this.sds[k] = Math.sqrt(Math.max(variance + unseen * this.unseen[k], 0));
    }
    return this;
  }

  mean() {
    let sum = 0;
    for (let k = 0; k < this.parts; k++) sum += this.weights[k] * this.means[k];
    return sum;
  }

  sd(mean = this.mean()) {
    let sum = 0;
    for (let k = 0; k < this.parts; k++) {
      sum += this.weights[k] * (this.sds[k] ** 2 + (this.means[k] - mean) ** 2);
    }
    return Math.sqrt(sum);
  }

  below(limit) {
    if (limit === null) throw new RangeError("an open end has no chance below it");
    let sum = 0;
    for (let k = 0; k < this.parts; k++) {
      const z = (limit - this.means[k]) / this.sds[k];
      sum += this.weights[k] * (Number.isNaN(z) ? 0.5 : below(z));
    }
    return sum;
  }

  // Chance that the mean intensity lies between two ends; null is an open end.
  chance([low, high]) {
    return Math.max((high === null ? 1 : this.below(high)) - (low === null ? 0 : this.below(low)), 0);
  }

  quantiles() {
    const mean = this.mean(), sd = this.sd(mean);
    return LEVELS.map((level, i) => {
      const found = this.quantile(i, mean + this.offsets[i] * sd);
      if (sd > 0) this.offsets[i] = (found - mean) / sd;
      return found;
    });
  }

  // Newton's steps, held between the quantiles of the single parts.
  quantile(i, start) {
    let low = Infinity, high = -Infinity;
    for (let k = 0; k < this.parts; k++) {
      const own = this.means[k] + STANDARD[i] * this.sds[k];
      low = Math.min(low, own);
      high = Math.max(high, own);
    }
    let at = Math.min(high, Math.max(low, start));
    for (let round = 0; round < 80 && high - low > 1e-12 * (1 + Math.abs(at)); round++) {
      let sum = -LEVELS[i], slope = 0;
      for (let k = 0; k < this.parts; k++) {
        const z = (at - this.means[k]) / this.sds[k];
        sum += this.weights[k] * (Number.isNaN(z) ? 0.5 : below(z));
        if (this.sds[k] > 0) slope += (this.weights[k] * density(z)) / this.sds[k];
      }
      if (sum < 0) low = at;
      else high = at;
      let next = at - sum / slope;
      if (!(next > low && next < high)) next = (low + high) / 2;
      const moved = Math.abs(next - at);
      at = next;
      if (moved <= 1e-11 * (1 + Math.abs(at))) break;
    }
    return at;
  }
}

export class Beliefs {
  constructor(sent) {
    this.pairs = sent.pairs;
    this.coffees = sent.coffees.length;
    this.attributes = sent.attributes.map((one) => new Attribute(one));
    this.events = this.attributes.filter((one) => one.event);
    const d = this.coffees + this.pairs.length;
    this.blend = { terms: new Float64Array(d), products: new Float64Array((d * (d + 1)) / 2), unseen: 0 };
  }

  // Terms of a blend of shares (fractions), and their products as they weigh the covariances.
  mix(x) {
    const { terms, products } = this.blend;
    let squares = 0, fourth = 0, seen = 0;
    for (let i = 0; i < this.coffees; i++) {
      terms[i] = x[i];
      squares += x[i] ** 2;
      fourth += x[i] ** 4;
    }
    this.pairs.forEach(([i, j], n) => {
      const product = x[i] * x[j];
      terms[this.coffees + n] = product;
      seen += product ** 2;
    });
    this.blend.unseen = Math.max((squares ** 2 - fourth) / 2 - seen, 0);
    let e = 0;
    for (let i = 0; i < terms.length; i++) {
      products[e++] = terms[i] ** 2;
      for (let j = i + 1; j < terms.length; j++) products[e++] = 2 * terms[i] * terms[j];
    }
    return this.blend;
  }

  chance(x) {
    const blend = this.mix(x);
    return this.events.reduce((product, one) => product * one.stand(blend).chance(one.event), 1);
  }

  mean(x, attribute) {
    return attribute.stand(this.mix(x)).mean();
  }

  // All that the page shows of the taste of one recipe.
  profile(x) {
    const blend = this.mix(x);
    let chance = 1;
    const attributes = this.attributes.map((one) => {
      one.stand(blend);
      const mean = one.mean();
      const [low90, low50, high50, high90] = one.quantiles();
      if (one.event) chance *= one.chance(one.event);
      return { name: one.name, mean, sd: one.sd(mean), low90, low50, high50, high90, wants: one.wants.map((want) => one.chance(want.ends)) };
    });
    return { chance, attributes };
  }
}

// Cost of a roasted kilogram, null when a coffee in the cup has no price.
export function costOf(coffees, x) {
  let sum = 0;
  for (let i = 0; i < x.length; i++) {
    if (!x[i]) continue;
    if (coffees[i].cost === null) return null;
    sum += x[i] * coffees[i].cost;
  }
  return sum;
}

// Roasted kilograms that the green on hand makes, and the lot that ends first.
export function makesOf(coffees, x) {
  const drawn = new Map();
  for (let i = 0; i < x.length; i++) {
    if (!x[i]) continue;
    const { lot, lotName, greenKg, loss } = coffees[i];
    const line = drawn.get(lot) ?? { need: 0, lotName, greenKg };
    line.need += x[i] / (1 - loss);
    drawn.set(lot, line);
  }
  let least = { kg: Infinity, lot: "" };
  for (const { need, lotName, greenKg } of drawn.values()) {
    const kg = Math.max(0, greenKg) / need;
    if (kg < least.kg) least = { kg, lot: lotName };
  }
  return least;
}
