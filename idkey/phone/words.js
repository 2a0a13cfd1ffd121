// What the page says of a fish: why, where it stands, the plain ending, care. The sentences come with the
// model; a function here follows the one of that name in idkey/model/identify.py, doubt.py and idkey/views.

// -- why --------------------------------------------------------------------------------------------------

// What each answer does for or against every kind and the likeliest stranger, decibans; 0 where outdone.
const contributions = kept((fish, {terms}) => {
  const cases = logCases(fish);
  const total = cases.length > 1 ? cases[0].map((x, i) => logAddExp(x, cases[1][i])) : cases[0];
  const counted = new Map(terms);
  for (const members of groupsOf(fish).values()) {
    const most = strongest(terms, members), done = Array(width).fill(false);
    for (const id of members) {
      counted.set(id, ratio(terms.get(id)).map((says, i) => {
        const counts = says === most[i] && !done[i];
        done[i] = done[i] || counts;
        return counts ? says : 0;
      }));
    }
  }
  const rest = [...counted.values()].reduce((left, term) => left.map((x, i) => x - term[i]), total);
  const shares = total.map((x, i) => x + model.logShares[i]).slice(count);
  const stranger = count + shares.indexOf(Math.max(...shares));
  const decibans = (term) => {
    const names = [...term.slice(0, count), term[stranger]], top = Math.max(...names);
    const sum = names.reduce((all, x) => all + Math.exp(x - top), 0);
    return names.map((x) => ((x - top - Math.log(sum / names.length)) * 10) / Math.LN10);
  };
  const each = [...counted].map(([id, term]) => ({
    trait: traitOf.get(id), decibans: decibans(term), silent: [...term.slice(0, count), term[stranger]].map((x) => x === 0),
  }));
  return {each, age: decibans(rest)};
});

const many = (n, more = "") => `${n} ${more}name${n === 1 ? "" : "s"}`;
const filled = (text, wordsOf) => text.replace(/\{(\w+)\}/g, (_, name) => wordsOf(name));
const say = (what, words = {}) => filled(model.sayings[what], (name) => words[name]);
const figure = (x) => String(Number(x.toPrecision(6)));
const nameOf = (row) => (row.at < 0 ? model.noneWords : model.kinds[row.at].name);
// What stands for a kind in texts of which equal ones are written once; a cell of the table, in words.
const textOf = ({texts, of}, at) => texts[of[at]];
const cellText = ({id}, at) => textOf(model.rows[id], at);

function percent(share) {
  if (share < 0.01) return "under 1 %";
  if (share > 0.99) return "over 99 %";
  const low = Math.floor(share * 100), rest = share * 100 - low;
  return `${rest > 0.5 || (rest === 0.5 && low % 2) ? low + 1 : low} %`;
}

function strength(decibans) {
  const step = model.strengths.find(({below}) => below === null || Math.abs(decibans) < below);
  return decibans > 0 ? step.for : step.against;
}

// The unit of a trait after what leads to it; of a count, or of none, nothing.
const unitWords = ({unit}, lead) => (["", "count"].includes(unit) ? "" : lead + unit);

function answerWords(trait, answer) {
  const unit = unitWords(trait, " ");
  if (Array.isArray(answer)) {
    return answer[0] === answer[1] ? figure(answer[0]) + unit : `${figure(answer[0])} to ${figure(answer[1])}${unit}`;
  }
  const named = trait.states.filter((state) => state in answer), shares = named.map((state) => answer[state]);
  const even = Math.max(...shares) - Math.min(...shares) < 1e-9;
  return named.map((state) => trait.words[trait.states.indexOf(state)] + (even ? "" : ` (${percent(answer[state])})`))
    .join(" or ");
}

// What speaks for and against a name, strongest first.
function reasons(fish, found, at) {
  const {each, age} = contributions(fish, found);
  const place = at < 0 ? count : at;
  const rows = each.map(({trait, decibans, silent}) => {
    const value = decibans[place], holds = at < 0 ? "" : cellText(trait, at);
    const unknown = holds === model.unknown;
    let weight = strength(value);
    if (trait.group && silent[place] && at >= 0) weight = say("outdone");
    else if (unknown) weight = say("by kin") + (value > -model.little ? "" : `: ${weight}`);
    const row = unknown ? say("row not known") : holds === model.notApplicable ? say("row does not apply")
      : say("row", {row: holds});
    const words = {trait: trait.name, said: answerWords(trait, fish.answers[trait.id]), row, strength: weight};
    return {trait, unknown, decibans: value, text: say(at < 0 ? "reason alone" : "reason", words)};
  });
  rows.sort((a, b) => Math.abs(b.decibans) - Math.abs(a.decibans) || (a.trait.id < b.trait.id ? -1 : 1));
  if (Math.abs(age[place]) > 1e-9) {
    const said = fish.stage ? say("you said", {said: fish.stage}) : model.unknown;
    rows.push({decibans: age[place], text: say("age", {said, strength: strength(age[place])})});
  }
  return rows;
}

// The genus that this fish looks like if it is none of the kinds.
function strangerOf(posterior) {
  const shares = posterior.slice(count), genera = shares.slice(0, -1);
  const most = Math.max(...genera), share = most / shares.reduce((a, b) => a + b, 0);
  return genera.length && share >= 0.5 ? [model.genera[genera.indexOf(most)], share] : ["", 0];
}

// Where the identification stands, in words.
const outcome = kept((fish, found) => {
  const {names, left, kinds, hardly, posterior} = found, best = names[0];
  const first = names.find((row) => row.at >= 0), looks = answered(fish).length;
  const of = (what, row, words = {}) => say(what, {name: nameOf(row), share: percent(row.probability), ...words});
  if (!looks && !fish.stage) return {kind: "no answers", text: say("no answers")};
  if (best.at < 0 && best.probability >= 0.5) {
    const [name, share] = strangerOf(posterior);
    const genus = name ? say("of a genus", {name, share: percent(share)}) : say("of no genus");
    return {kind: "none of these", text: of("stranger", best) + genus + (kinds.length ? of("nearest", first) : "")};
  }
  const none = names.find((row) => row.at < 0).probability, before = model.nonePrior / (1 - model.nonePrior);
  const says = none > 0 && none < 1 ? 10 * Math.log10(none / (1 - none) / before) : 0;
  const doubt = (best.at < 0 ? of("none first", best) : "") + (says < model.fair ? "" : say("doubt", {strength: strength(says)}));
  if (best === first && hardly(first)) {
    const checked = first.compared ? say("checked", {count: first.compared, of: looks}) : say("none checked");
    const known = names.find((row) => row.at >= 0 && !hardly(row));
    const text = (kinds.length > 1 ? say("several left", {count: kinds.length}) : say("none left"))
      + of("little known", first, {checked}) + (known ? of("better known", known) : "");
    return {kind: "little known", text: text + doubt};
  }
  if (left.length === 1) {
    const poor = deviations(fish, found.adult)[best.at] < model.poorFit;
    return {kind: "one name", text: of("one name", best) + (poor ? say("poor fit") : "") + doubt};
  }
  if (found.next) return {kind: "several names", text: of("several names", first, {count: many(kinds.length)}) + doubt};
  if (kinds.length === 1) {
    return {kind: "one name", text: of("no question left", first, {name: nameOf(kinds[0])}) + doubt};
  }
  const [one, other, ...more] = kinds.map(nameOf);
  const text = say("not told apart", {name: one, other}) + (more.length ? say("also possible", {names: more.join(", ")}) : "");
  return {kind: "not told apart", text: text + doubt};
});

// -- the plain ending -------------------------------------------------------------------------------------

// What it probably is, what it could be and where to look for that, and the care until then.
function ending(fish, found) {
  const {kind} = outcome(fish, found), [first, ...others] = found.kinds;
  const end = {rivals: [], likeliest: [], settles: "", turns: turning(fish), until: untilThen(careOf(fish, found))};
  if (!first || others.length > model.mostRivals || !["one name", "several names", "not told apart"].includes(kind)) {
    const head = generaWords(fish, found) || say("no name yet");
    return ["no answers", "none of these"].includes(kind) ? {...end, head} : {...end, head, ...ofMany(found)};
  }
  const rivals = others.map((other) => {
    const kinds = [first.at, other.at];
    const looks = compared(kinds).differ.filter(({id}) => !model.hearsay.includes(id));
    return {name: nameOf(other), kinds, trait: looks.find((trait) => found.askable.includes(trait)) || null};
  });
  return {...end, head: say(first.probability >= 0.5 ? "probably" : "perhaps", {name: nameOf(first)}), rivals};
}

// The likeliest of many names, and what would settle most.
function ofMany({kinds, worth}) {
  const looks = [...worth].sort((a, b) => b.gain - a.gain || (a.trait.id < b.trait.id ? -1 : 1)).slice(0, model.mostLooks);
  const most = looks.filter(({gain}) => gain >= model.littleGain).map(({trait}) => trait.name.toLowerCase());
  return {
    count: kinds.length ? say("likeliest", {count: many(kinds.length)}) : "", likeliest: kinds.slice(0, model.mostLikeliest),
    settles: most.length ? say("settles most", {traits: most.join("; ")}) : say("nothing settles"),
  };
}

// The share of each genus, a stranger of it among them.
function generaShares(posterior) {
  const shares = posterior.slice(count, -1);
  model.genus.forEach((genus, i) => { if (genus >= 0) shares[genus] += posterior[i]; });
  return shares;
}

// The genera that a fish surely belongs to, and their share.
const generaOf = kept(({posterior}) => {
  const shares = generaShares(posterior), order = [...shares.keys()].sort((a, b) => shares[b] - shares[a] || a - b);
  let few = 0, share = 0;
  while (few < order.length && share < model.coverage) share += shares[order[few++]];
  if (share < model.coverage || few > model.mostGenera) [few, share] = [1, shares[order[0]] || 0];
  return [order.slice(0, few), share];
});

function generaWords(fish, found) {
  const [places, share] = generaOf(found);
  if (!(answered(fish).length || fish.stage) || share < 0.5) return "";
  const genus = listed(places.map((at) => model.aGenus[at]), "or");
  return capital(say(share >= model.coverage ? "surely" : "likely", {genus, share: percent(share)}));
}

// Whether one genus is sure, and the next question is expected to settle little.
function settlesLittle(fish, found) {
  const [places, share] = generaOf(found), begun = answered(fish).length || fish.stage;
  return Boolean(begun && places.length === 1 && share >= model.coverage && found.next && found.next.gain < model.littleBits);
}

// The answers each of which alone turns the genus, in words.
function turning(fish) {
  const likeliest = (one) => {
    const shares = generaShares(posteriorOfNames(one)), share = Math.max(...shares);
    return {at: shares.indexOf(share), share};
  };
  const looks = answered(fish), now = likeliest(fish).at;
  const left = looks.map((trait) => {
    const {[trait.id]: said, ...answers} = fish.answers;
    return {id: trait.id, name: trait.name, said: answerWords(trait, said), ...likeliest({...fish, answers})};
  });
  if (fish.stage) left.push({id: "life_stage", name: "Age", said: fish.stage, ...likeliest({...fish, stage: ""})});
  return (left.length < 2 ? [] : left).filter(({at, share}) => at !== now && share >= 0.5)
    .sort((a, b) => b.share - a.share || (a.id < b.id ? -1 : 1))
    .map(({name, said, at, share}) => say("turned", {trait: name.toLowerCase(), said, genus: model.aGenus[at], share: percent(share)}));
}

// -- a number that can hardly be --------------------------------------------------------------------------

function whyDoubted(found, trait, [low, high]) {
  const {shortest, longer, few} = model.doubt;
  if (!("believed" in trait)) {
    if (high < shortest) return say("very small");
    let all = 0, grow = 0;
    for (let i = 0; i < count; i++) {
      if (!trait.adult.known[i]) continue;
      all += found.posterior[i];
      if (trait.adult.high[i] * longer >= low) grow += found.posterior[i];
    }
    return grow < few * all ? say("too long") : "";
  }
  return trait.believed && (high < trait.believed[0] || low > trait.believed[1]) ? trait.believed[2] : "";
}

// What is asked back about a number, and what it may have been meant for; null where there is no doubt.
function doubtOf(found, trait, answer) {
  const why = whyDoubted(found, trait, answer), said = answerWords(trait, answer);
  if (!why) return null;
  const others = "believed" in trait || answer[0] < answer[1] ? [] : model.doubt.slips.flatMap(([factor, unit]) => {
    const length = Math.round(answer[0] * factor * 10) / 10;
    const words = unit ? `${figure(answer[0])}${unit}, ${length.toFixed(0)} mm` : `${figure(length)} mm`;
    return whyDoubted(found, trait, [length, length]) ? [] : [[words, [length, length]]];
  });
  return {text: say("asked back", {said, why}), meant: [...others, [say("it is", {said}), answer]]};
}

// -- care -------------------------------------------------------------------------------------------------

// The kinds whose care is to be right: the likeliest names, of a stranger all of its genus, too.
function careOf(fish, found) {
  const {covered, most} = model.care;
  const left = found.kinds.map((row) => row.at);
  const [genus] = strangerOf(found.posterior), stranger = genus && outcome(fish, found).kind === "none of these";
  const kin = stranger || !left.length ? model.kinds.map((_, at) => at).filter((at) => genus && model.genera[model.genus[at]] === genus) : [];
  const kinds = [...new Set([...kin, ...left.slice(0, most)])];
  const checked = kin.length ? kin : left, others = left.some((at) => !kinds.includes(at));
  return {kinds: covered && checked.some((at) => covered[at]) ? kinds : [], genus: stranger ? genus : "", others};
}

// What suits all of some kinds of which it is known, in words; null where nothing does.
function joined({combine, words, of}, known) {
  const places = known.map((at) => of[at]);
  if (combine === "overlap") return words[Math.max(...places.map(([low]) => low))][Math.min(...places.map(([, high]) => high))];
  if (combine === "shared") return words[places.reduce((all, bits) => all & bits)] || null;
  return words[Math.max(...places)];
}

const knownOf = (need, kinds) => (need ? kinds.filter((at) => need.of[at] !== -1) : []);

function short(name, kinds) {
  const need = model.care.needs[name], known = knownOf(need, kinds);
  if (!known.length) return say(name === "adult_length_mm" ? "length not known" : "need not known");
  const words = joined(need, known), weak = model.care.weak[Math.min(...known.map((at) => need.best[at]))];
  if (words === null) return say("names disagree");
  return weak && name !== "adult_length_mm" ? say("known so", {need: words, known: weak}) : words;
}

// The texts of some kinds, each once.
function textsOf(name, kinds) {
  const {texts, of} = model.care.texts[name] || {of: {}};
  return [...new Set(kinds.flatMap((at) => of[at] || []))].map((place) => texts[place]);
}

function careInBrief(kinds) {
  const foods = textsOf("diet_avoid", kinds).join(" ");
  const needOf = (name) => (name !== "diet_avoid" ? short(name, kinds) : foods ? say("avoid", {foods}) : "");
  return Object.entries(model.care.brief).map(([head, text]) => [head, filled(text, needOf)]);
}

function untilThen({kinds, others}) {
  if (!kinds.length) return "";
  const words = model.care.first.map((name) => {
    const need = model.care.needs[name], known = knownOf(need, kinds);
    const told = known.length ? joined(need, known) : null;
    const text = told !== null && name === "flow" ? say("flow", {flow: told}) : told;
    if (told === null || known.length === kinds.length) return text;
    return say("known of", {need: text, known: known.length, of: kinds.length});
  }).filter((told) => told !== null);
  const what = others ? "until then, likeliest" : "until then";
  return words.length ? say(what, {count: kinds.length, needs: words.join("; ")}) : "";
}

function listed(words, last = "and") {
  return words.length > 1 ? `${words.slice(0, -1).join(", ")} ${last} ${words.at(-1)}` : words[0];
}

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
