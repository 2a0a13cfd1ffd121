"use strict";
// The model: data compiled by the package, and the sums over it. Every formula stands with its source in
// idkey/model/evidence.py (likelihoods), combine.py (sums), ask.py (questions), fit.py (fit) and
// distinguish.py (two kinds); a function here has the name of what it follows there. Arrays over names: kinds
// sorted by id, a stranger of each genus, a stranger of none. An answer is {state: how sure}, or [low, high]
// for a number.

const model = JSON.parse(document.getElementById("model").textContent);
const traitOf = new Map(model.traits.map((trait) => [trait.id, trait]));
const count = model.kinds.length;
const width = model.logShares.length;
const last = width - 1;

// -- likelihoods ----------------------------------------------------------------------------------------

// The normal distribution function: a series near the middle, a continued fraction in the tails.
function ndtr(x) {
  const z = Math.abs(x) * Math.SQRT1_2;
  if (z < 2) {
    let term = z, sum = z;
    for (let n = 1; term > 1e-17 * sum; n++) sum += term *= (2 * z * z) / (2 * n + 1);
    const half = (sum * Math.exp(-z * z)) / Math.sqrt(Math.PI);
    return x < 0 ? 0.5 - half : 0.5 + half;
  }
  let fraction = z;
  for (let n = 60; n > 0; n--) fraction = z + n / 2 / fraction;
  const tail = (0.5 * Math.exp(-z * z)) / (fraction * Math.sqrt(Math.PI));
  return x < 0 ? tail : 1 - tail;
}

// Columns and rows are made of what is written of them when they are first needed. Rows over the names come
// with equal columns written once, and `of` to say which column a name has.
let isUnpacked = false;
function unpack() {
  if (isUnpacked) return;
  isUnpacked = true;
  for (const trait of model.traits) {
    for (const column of [trait.adult, trait.young]) {
      for (const name of column ? ["known", "applies"] : []) column[name] = [...column[name]].map((sign) => sign === "1");
    }
    for (const packed of [trait.rows, trait.given, trait.judged]) {
      if (!packed) continue;
      packed.adult = packed.adult.map((row) => packed.of.map((at) => row[at]));
      if (packed.young) packed.young = packed.young.map((row) => packed.of.map((at) => row[at]));
    }
  }
}

// Fill blank cells from the genus and the table, and add the strangers.
function complete(p, column, na, flat) {
  if (!column.known.includes(true)) return Array(width).fill(1);
  const sums = model.genera.map(() => 0), many = model.genera.map(() => 0);
  let total = 0, n = 0;
  for (let i = 0; i < count; i++) {
    if (!column.known[i]) continue;
    total += p[i];
    n += 1;
    if (model.genus[i] >= 0) {
      sums[model.genus[i]] += p[i];
      many[model.genus[i]] += 1;
    }
  }
  const kin = model.tableAsKin, table = total / n;
  const genera = sums.map((sum, g) => (sum + kin * table) / (many[g] + kin));
  const kinds = model.genus.map((g, i) =>
    column.known[i] ? p[i] : !column.applies[i] ? na : g >= 0 ? genera[g] : table);
  return [...kinds, ...genera, (total + flat) / (n + 1)];
}

// Points that stand for a number, or for a range.
function spreadPoints([low, high]) {
  if (low === high) return [low];
  return Array.from({length: model.points}, (_, i) => low + ((i + 0.5) / model.points) * (high - low));
}

function density(trait, column, x) {
  const span = column.scale + 2 * trait.step;
  const sigma = Math.max(trait.relative ? trait.spread * Math.abs(x) : trait.spread, 0.01 * span);
  return column.low.map((low, i) => {
    if (!column.known[i]) return 0;
    const high = column.high[i], from = x - (low + high) / 2;
    const half = Math.max((high - low) / 2 + trait.step, 0.05 * sigma);
    return ((ndtr((from + half) / sigma) - ndtr((from - half) / sigma)) / (2 * half)) * span;
  });
}

const mean = (rows) => rows[0].map((_, i) => rows.reduce((sum, row) => sum + row[i], 0) / rows.length);

function measure(trait, column, answer) {
  const e = trait.error;
  const seen = mean(spreadPoints(answer).map((x) => density(trait, column, x)));
  return complete(seen.map((p) => (1 - e) * p + e), column, e, 1);
}

// What was worked out of what is given last (an answer, a fish, a trait, what follows for a fish) is kept while that is.
function kept(work) {
  const memory = new WeakMap();
  return (...given) => {
    const key = given[given.length - 1];
    if (!memory.has(key)) memory.set(key, work(...given));
    return memory.get(key);
  };
}

// P(answer | name) of an adult and of a young fish; the same array where nothing differs.
const likelihoods = kept((trait, answer) => {
  if (trait.rows) {
    const most = Math.max(...Object.values(answer));
    const sure = trait.states.map((state) => (answer[state] || 0) / most);
    const of = (rows) => Array.from({length: width}, (_, i) =>
      rows.reduce((sum, row, s) => sum + sure[s] * row[i], 0));
    const adult = of(trait.rows.adult);
    return [adult, trait.rows.young ? of(trait.rows.young) : adult];
  }
  const adult = measure(trait, trait.adult, answer);
  if (!trait.young) return [adult, adult];
  const young = measure(trait, trait.young, answer);
  // Where an adult is needed, the table says nothing of a young fish but what it has of the young.
  return [adult, trait.needsAdult ? young.map((p, i) => (trait.young.known[i] ? p : adult[last])) : young];
});

// A length: P(a fish this long | name), and P(adult | length, name).
const record = kept((trait, answer) => {
  const column = trait.adult, e = trait.error, points = spreadPoints(answer);
  const over = (f) => mean(points.map((x) => column.high.map((top, i) => (column.known[i] ? f(x, top, i) : 0))));
  const edge = (top, i) => (trait.relative ? trait.spread * top : trait.spread) * trait.edge[i];
  const long = over((x, top, i) => ndtr((top - x) / edge(top, i)));
  const ripe = over((x, top) => ndtr((x - model.adultFrom * top) / (model.adultWidth * top)));
  const within = complete(long.map((p) => (1 - e) * p + e), column, e, 1);
  within[last] = 1;
  const known = column.known.includes(true);
  const mature = known ? complete(ripe, column, 0.5, 0.5) : Array(width).fill(0.5);
  return [within, mature.map((p) => Math.min(Math.max(p, 1e-6), 1 - 1e-6))];
});

// -- sums -----------------------------------------------------------------------------------------------

const logs = (row) => row.map(Math.log);
const added = (one, other) => one.map((x, i) => x + other[i]);
const ratio = (row) => row.map((x) => x - row[last]);
const stronger = (one, other) => one.map((x, i) => (Math.abs(other[i]) > Math.abs(x) ? other[i] : x));

// Weights by how common a kind is; the kinds on the bag count more.
function logPrior(bag) {
  let found = model.weights;
  if (bag.length) {
    found = found.map((w, i) => (bag.includes(model.kinds[i].id) ? w * model.namedWeight : w));
    const least = model.leastShare * Math.max(...found);
    found = found.map((w) => Math.max(w, least));
    const sum = found.reduce((a, b) => a + b, 0);
    found = found.map((w) => w / sum);
  }
  return model.logShares.map((share, i) =>
    Math.log(i < count ? found[i] * (1 - model.nonePrior) : model.nonePrior) + share);
}

// A fish is {answers: {trait: answer}, stage: "", "adult" or "young", bag: [ids], unseen: [traits]}.
const answered = (fish) => model.traits.filter((trait) => trait.id in fish.answers);

// Of the answers of one group, only what says most about a name counts for it.
function groupsOf(fish) {
  const groups = new Map();
  for (const {id, group} of answered(fish)) if (group) groups.set(group, [...(groups.get(group) || []), id]);
  return new Map([...groups].filter(([, members]) => members.length > 1));
}

// What the answers say of the names, by trait or group, and how old a fish of each length is.
const saidOf = kept((fish) => {
  const said = new Map(), ripe = [];
  for (const trait of answered(fish)) {
    const answer = fish.answers[trait.id];
    if (trait.kind === "ceiling") {
      const [within, mature] = record(trait, answer);
      said.set(trait.id, [logs(within), logs(within)]);
      ripe.push([logs(mature), logs(mature.map((p) => 1 - p))]);
    } else said.set(trait.id, likelihoods(trait, answer).map(logs));
  }
  for (const members of groupsOf(fish).values()) {
    const together = [0, 1].map((age) => members.map((id) => ratio(said.get(id)[age])).reduce(stronger));
    for (const id of members) said.delete(id);
    said.set(members, together);
  }
  return [said, ripe];
});

const dependsOnStage = (trait) => Boolean(trait.rows ? trait.rows.young : trait.young);

// Log P(the answers, and how old the fish is | name): one row, or one for an adult and one for a young fish.
function logCases(fish, byAge = Boolean(fish.stage) || answered(fish).some(dependsOnStage)) {
  const [said, ripe] = saidOf(fish);
  const sum = (age) => [...said.values()].reduce((sums, rows) => added(sums, rows[age]), Array(width).fill(0));
  if (!byAge) return [sum(0)];
  const e = model.stageError;
  const stage = {adult: [1 - e, e], young: [e, 1 - e]}[fish.stage] || [1, 1];
  const ages = [0, 1].map((age) => ripe.reduce((sums, rows) => added(sums, rows[age]), Array(width).fill(0)));
  return [0, 1].map((age) => sum(age).map((x, i) => {
    // Adult and young add up to 1 by the lengths, and stand at 1 each without one.
    const both = ripe.length > 1 ? logAddExp(ages[0][i], ages[1][i]) : ripe.length ? 0 : Math.LN2;
    return x + ages[age][i] - both + Math.log(stage[age]);
  }));
}

function logAddExp(a, b) {
  return Math.max(a, b) + Math.log1p(Math.exp(-Math.abs(a - b)));
}

// P(name | answers).
function posteriorOfNames(fish) {
  const prior = logPrior(fish.bag);
  const cases = logCases(fish).map((row) => added(row, prior));
  const most = Math.max(...cases.map((row) => Math.max(...row)));
  const joint = prior.map((_, i) => cases.reduce((sum, row) => sum + Math.exp(row[i] - most), 0));
  const total = joint.reduce((a, b) => a + b, 0);
  return joint.map((p) => p / total);
}

// P(adult | answers, name).
function stageWeights(fish) {
  const [adult, young] = logCases(fish, true);
  return adult.map((x, i) => 1 / (1 + Math.exp(young[i] - x)));
}

// -- the next question ----------------------------------------------------------------------------------

// What each answer says of each name, at the stage that is likelier for it.
function termsOf(fish, adult) {
  return new Map(answered(fish).map((trait) => {
    const answer = fish.answers[trait.id];
    if (trait.kind === "ceiling") return [trait.id, logs(record(trait, answer)[0])];
    const [old, young] = likelihoods(trait, answer);
    return [trait.id, logs(old.map((p, i) => (adult[i] >= 0.5 ? p : young[i])))];
  }));
}

const strongest = (terms, members) => members.map((id) => ratio(terms.get(id))).reduce(stronger);

// Traits not answered whose group has answers, with what those say.
function saidInGroup(fish, terms) {
  const found = new Map();
  for (const trait of model.traits) {
    const members = [...terms.keys()].filter((id) => trait.group && traitOf.get(id).group === trait.group);
    if (members.length && !terms.has(trait.id)) found.set(trait.id, strongest(terms, members));
  }
  return found;
}

const xlog2x = (x) => x * Math.log2(Math.max(x, 1e-300));

// A row of likelihoods of a fish that is adult so likely.
function mixed(rows, x, adult) {
  if (!rows.young) return rows.adult[x];
  const young = rows.young[x];
  return rows.adult[x].map((old, i) => young[i] + adult[i] * (old - young[i]));
}

// Of some questions the expected drop in entropy, bits, and how likely an answer is to change the names left.
function gains(asked, posterior, adult, said, names) {
  const least = 1e-7 * Math.max(...posterior);
  const keep = [...posterior.keys()].filter((i) => posterior[i] > least);
  const sum = keep.reduce((total, i) => total + posterior[i], 0);
  const p = keep.map((i) => posterior[i] / sum);
  // All strangers are one name.
  const strangers = p.reduce((total, share, k) => total + (keep[k] < count ? 0 : share), 0);
  const kinds = keep.filter((i) => i < count).length, upto = model.coverage - model.nearly;
  const left = [...keep.slice(0, kinds), -1].map((i) => names.some((row) => row.at === i));
  const before = -p.reduce((total, share, k) => total + (keep[k] < count ? xlog2x(share) : 0), xlog2x(strangers));
  return asked.map((trait) => {
    const given = trait.rows || trait.given, judged = trait.judged || given, repeats = said.get(trait.id);
    let spent = 0, total = 0, moved = 0;
    for (let x = 0; x < given.adult.length; x++) {
      const meets = mixed(given, x, adult), likely = judged === given ? meets : mixed(judged, x, adult);
      const none = Math.log(likely[last]);
      let chance = 0, mass = 0, known = 0, strangers = 0, held = 0, least = Infinity, most = 0;
      const weigh = (k, joint) => {
        if (left[k]) {
          held += joint;
          least = Math.min(least, joint);
        } else most = Math.max(most, joint);
      };
      for (let k = 0; k < keep.length; k++) {
        const i = keep[k];
        let one = likely[i];
        if (repeats) {
          const says = Math.log(one) - none, already = repeats[i];
          one = Math.exp((Math.abs(says) > Math.abs(already) ? says : already) - already);
        }
        const joint = one * p[k];
        chance += meets[i] * p[k];
        mass += joint;
        if (i < count) {
          known += xlog2x(joint);
          weigh(k, joint);
        } else strangers += joint;
      }
      weigh(kinds, strangers);
      spent += chance * (Math.log2(mass) - (known + xlog2x(strangers)) / mass);
      total += chance;
      const stays = held >= upto * mass && held - least < upto * mass && most <= least * (1 + model.nearly);
      if (!stays) moved += chance;
    }
    return {gain: Math.max(before - spent / total, 0), moved: moved / total};
  });
}

// Whether a trait may be asked of this fish now.
function mayAsk(fish, trait, posterior, isAdult) {
  if (trait.id in fish.answers || fish.unseen.includes(trait.id)) return false;
  if (trait.needsAdult && (fish.stage === "young" || isAdult < 0.5 - 1e-9)) return false;
  if (!trait.appliesWhen) return true;
  const [other, states] = trait.appliesWhen;
  if (other in fish.answers) return states.some((state) => state in fish.answers[other]);
  const kinds = posterior.slice(0, count), sum = kinds.reduce((a, b) => a + b, 0);
  const applies = kinds.reduce((total, p, i) => total + (trait.adult.applies[i] ? p : 0), 0);
  return applies / Math.max(sum, 1e-300) >= 0.5;
}

// Traits that may be asked of this fish now.
function askable(fish, posterior, adult) {
  const isAdult = posterior.reduce((sum, p, i) => sum + p * adult[i], 0);
  return model.traits.filter((trait) => mayAsk(fish, trait, posterior, isAdult));
}

// Those worth asking, best first.
function questions(fish, asked, posterior, adult, terms, left) {
  const every = gains(asked, posterior, adult, saidInGroup(fish, terms), left);
  const worth = asked.map((trait, t) => ({trait, ...every[t], rate: every[t].gain / (model.reading + trait.effort)}))
    .filter(({gain, moved}) => gain >= model.minGain && moved >= model.minMove);
  return worth.sort((a, b) => b.rate - a.rate || (a.trait.id < b.trait.id ? -1 : 1));
}

// -- where it stands ------------------------------------------------------------------------------------

// The names, likeliest first; of equals the one against which more answers can be held.
function ranked(fish, posterior) {
  const looks = answered(fish), known = (i) => looks.filter((trait) => trait.adult.known[i]).length;
  const rows = model.kinds.map(({id}, i) => ({id, at: i, probability: posterior[i], compared: known(i)}));
  const none = posterior.slice(count).reduce((a, b) => a + b, 0);
  rows.push({id: model.none, at: -1, probability: none, compared: 0});
  const unlikely = (row) => Math.round(-Math.log(row.probability) * 1e12) / 1e12;
  for (const row of rows) row.unlikely = unlikely(row);
  rows.sort((a, b) => (a.unlikely === b.unlikely ? b.compared - a.compared || (a.id < b.id ? -1 : 1)
    : a.unlikely - b.unlikely));
  let before = 0;
  for (const row of rows) {
    row.candidate = before < model.coverage - 1e-12;
    before += row.probability;
  }
  return rows;
}

// Standard deviations above the mean of the kind's own fish, by kind.
function deviations(fish, adult) {
  const repeats = new Map([...groupsOf(fish).values()].flatMap((ids) => ids.map((id) => [id, ids.length])));
  const off = Array(count).fill(0), variance = Array(count).fill(model.softening);
  for (const trait of answered(fish)) {
    const answer = fish.answers[trait.id], weight = 1 / (repeats.get(trait.id) || 1);
    if (trait.kind === "ceiling") {
      record(trait, answer)[0].slice(0, count).forEach((p, i) => {
        if (trait.adult.known[i]) off[i] += weight * Math.log(p);
      });
      continue;
    }
    const [old, young] = likelihoods(trait, answer);
    const every = trait.rows || everyOf(trait);
    for (let i = 0; i < count; i++) {
      if (!trait.adult.known[i]) {
        if (!trait.adult.applies[i]) off[i] += weight * Math.log(trait.error);
        continue;
      }
      const rows = adult[i] >= 0.5 || !every.young ? every.adult : every.young;
      const column = rows.map((row) => row[i]);
      const most = Math.max(...column), sum = column.reduce((a, b) => a + b, 0);
      const of = (f) => column.reduce((total, p) => total + (p / sum) * f(Math.log(p / most)), 0);
      const expected = of((x) => x);
      const said = Math.log(Math.min((adult[i] >= 0.5 ? old : young)[i] / most, 1));
      off[i] += weight * (said - expected);
      variance[i] += weight ** 2 * (of((x) => x * x) - expected ** 2);
    }
  }
  return off.map((x, i) => x / Math.sqrt(variance[i]));
}

// Numbers that stand for all that may be answered: lengths by equal steps of their logarithm.
function numbersOf(trait) {
  const [from, to, points] = trait.grid, steps = Array.from({length: points}, (_, i) => i / (points - 1));
  return steps.map((step) => (trait.kind === "ceiling" ? from * (to / from) ** step : from + (to - from) * step));
}

// Likelihoods of numbers all along a measure.
const everyOf = kept((trait) => {
  const pairs = numbersOf(trait).map((x) => likelihoods(trait, [x, x]));
  return {adult: pairs.map(([old]) => old), young: trait.young && pairs.map(([, young]) => young)};
});

// Everything that follows from what was said of a fish; `left` are the names still possible, `kinds` those of kinds.
function judged(fish) {
  unpack();
  const posterior = posteriorOfNames(fish), adult = stageWeights(fish), terms = termsOf(fish, adult);
  const names = ranked(fish, posterior), left = names.filter((row) => row.candidate);
  const asked = askable(fish, posterior, adult), worth = questions(fish, asked, posterior, adult, terms, left);
  const [best] = names, looks = answered(fish).length;
  const hardly = (row) => 2 * row.compared < looks;
  const little = best.at >= 0 && hardly(best);
  const kinds = left.filter((row) => row.at >= 0);
  const settled = left.length === 1 && (looks > 0 || Boolean(fish.stage)) && !little;
  const next = settled || !worth.length ? null : worth[0];
  return {posterior, adult, terms, names, left, kinds, hardly, askable: asked, worth, next};
}

// -- two kinds --------------------------------------------------------------------------------------------

// P(answer | kind) of a look at an adult or a young fish; null where it says nothing of one of the kinds.
function look(trait, kinds, young) {
  const column = (young && trait.young) || trait.adult, e = trait.error;
  if (young && trait.kind === "ceiling") return null;
  if (kinds.some((at) => !column.known[at] && column.applies[at])) return null;
  const every = trait.rows || (trait.kind === "ceiling" ? lengthsOf(trait) : everyOf(trait));
  const rows = ((young && every.young) || every.adult).map((row) => kinds.map((at) => row[at]));
  const absent = kinds.map((at) => !column.applies[at]);
  const sums = kinds.map((_, k) => rows.reduce((sum, row) => sum + row[k], 0));
  const given = rows.map((row) => row.map((p, k) => (absent[k] ? e / rows.length : p / sums[k])));
  return [...given, absent.map((is) => (is ? 1 - e : 0))];
}

// Lengths at which adults are met.
const lengthsOf = kept((trait) => ({
  adult: numbersOf(trait).map((x) => {
    const [within, mature] = record(trait, [x, x]);
    return within.map((p, i) => p * mature[i]);
  }),
}));

// Chance that one look gives the right kind; a guess where it says nothing.
function right(trait, kinds, young) {
  const given = look(trait, kinds, young);
  return given ? given.reduce((sum, row) => sum + Math.max(...row), 0) / kinds.length : young ? 0 : 1 / kinds.length;
}

// What kinds differ in, strongest first, what they share, and what is not known of one (compare.py).
function compared(kinds) {
  unpack();
  const found = {differ: [], shared: [], unknown: []};
  for (const id of model.order) {
    const trait = traitOf.get(id), {of, drawn} = model.rows[id], cells = kinds.map((at) => of[at]);
    if (cells.some((cell) => drawn[cell] === null)) found.unknown.push(trait);
    else if (cells.every((cell) => cell === cells[0])) found.shared.push(trait);
    else found.differ.push(trait);
  }
  const places = (x) => Math.round(x * 1e12);
  const worth = new Map(found.differ.map((trait) => [trait, [false, true].map((age) => places(right(trait, kinds, age)))]));
  found.differ.sort((x, y) => worth.get(y)[0] - worth.get(x)[0] || worth.get(y)[1] - worth.get(x)[1]);
  return found;
}
