// The screen. What comes from the table is written as text, never as markup; drawings are the package's own.

const byId = (id) => document.getElementById(id);
const traits = model.order.map((id) => traitOf.get(id));
const blank = {answers: {}, stage: "", bag: [], unseen: []};
const FISH = `idkey fish ${model.edition}`, KEPT = "idkey kept";
let steps = [blank], fish = blank, found = null, trait = null, picked = [];

// What is shown once something is opened stands at the end of the file, and is read when it is first needed.
let moreRead = null;
const more = () => moreRead || (moreRead = JSON.parse(byId("more").textContent));
const whole = new Promise((done) => (document.readyState === "loading" ? document.addEventListener("DOMContentLoaded", done) : done()));

// What can wait until the screen was painted.
let waiting = [];
function afterwards(work) {
  waiting.push(work);
  if (waiting.length > 1) return;
  requestAnimationFrame(() => setTimeout(() => {
    const now = waiting;
    waiting = [];
    for (const one of now) one();
  }));
}

function el(tag, words = "", more = {}) {
  const made = Object.assign(document.createElement(tag), more);
  for (const part of [words].flat()) made.append(part);
  return made;
}

function button(words, act, more = {}) {
  return el("button", words, {type: "button", onclick: act, ...more});
}

function bullets(texts) {
  return texts.length ? [el("ul", texts.map((text) => el("li", text)))] : [];
}

// A paragraph, or nothing where nothing is to be said.
function line(text, className = "") {
  return text ? [el("p", text, {className})] : [];
}

// What may be wider than the screen is moved by itself, by keys, too.
function scrolling(table, words) {
  const made = el("div", table, {className: "scroll", tabIndex: 0});
  made.setAttribute("role", "group");
  made.setAttribute("aria-label", words);
  return made;
}

// A drawing has its room at once, and its shapes when it is on the screen and the file is whole.
const fills = new WeakMap();
const watch = new IntersectionObserver((entries) => whole.then(() => {
  for (const {isIntersecting, target} of entries) {
    if (!isIntersecting) continue;
    watch.unobserve(target);
    // Shapes are from the package's drawings alone; the words of a table are set as an attribute.
    target.innerHTML = fills.get(target)().map((i) => more().shapes[i]).join("");
  }
}), {rootMargin: "100px"});

function drawing(window, words, places) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", window);
  svg.setAttribute("role", words ? "img" : "presentation");
  svg.setAttribute(words ? "aria-label" : "aria-hidden", words || "true");
  fills.set(svg, places);
  watch.observe(svg);
  return svg;
}

const fishDrawn = (at, words) => drawing(model.fishWindow, words, () => more().kinds[at].drawing);

// A state of a trait, or how its figure is taken.
function traitDrawn({id}, i, words = "") {
  const window = model.windows[id][i];
  return window ? [drawing(window, words, () => more().states[id][i])] : [];
}

function options(select, pairs, value = "") {
  select.replaceChildren(...pairs.map(([words, id]) => el("option", words, {value: id})));
  select.value = value;
}

function alertWith(words) {
  byId("alert").textContent = words;
  byId("alert").hidden = !words;
}

// -- what the browser keeps ---------------------------------------------------------------------------------

function stored(key, fallback) {
  try {
    return JSON.parse(localStorage.getItem(key)) || fallback;
  } catch {
    return fallback;
  }
}

function store(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
    return true;
  } catch {
    alertWith("This browser keeps nothing for this file: what you enter is lost when it is closed. Copy it out before.");
    return false;
  }
}

// -- steps --------------------------------------------------------------------------------------------------

function step(change, ask = true) {
  steps.push({...fish, ...change});
  settle(ask);
}

function settle(ask) {
  fish = steps[steps.length - 1];
  // A table that no book knows can't be told from another one when the page comes back.
  if (model.edition) store(FISH, steps);
  alertWith("");
  show();
  if (ask) byId("question").focus();
}

function answer(value) {
  const answers = {...fish.answers}, unseen = fish.unseen.filter((id) => id !== trait.id);
  delete answers[trait.id];
  // Every state at once is the same as no answer.
  const shares = value && !Array.isArray(value) ? Object.values(value) : [];
  const all = shares.length === trait.states.length && shares.length > 1 && Math.max(...shares) - Math.min(...shares) < 1e-9;
  if (value && !all) answers[trait.id] = value;
  step({answers, unseen: value && !all ? unseen : [...unseen, trait.id]});
}

// States as an answer: alike, or three in four for the one it is more like.
function statesAnswer(states, leaning) {
  const more = leaning && states.length > 1;
  const rest = more ? (1 - model.moreLike) / (states.length - 1) : 1 / states.length;
  return Object.fromEntries(trait.states.filter((s) => states.includes(s))
    .map((s) => [s, more && s === leaning ? model.moreLike : rest]));
}

function numberIn(field) {
  const text = byId(field).value.trim().replace(",", ".");
  return text === "" ? null : /^[0-9]*\.?[0-9]+$/.test(text) ? Number(text) : NaN;
}

function take() {
  if (!trait) return;
  if (trait.states.length) {
    if (picked.length) answer(statesAnswer(picked, byId("leaning").value));
    return;
  }
  let low = numberIn("from"), high = numberIn("to") ?? low;
  if (low === null || !(low <= 1e12 && high <= 1e12) || (trait.kind === "ceiling" && low <= 0)) {
    alertWith(`${trait.name}: write a number${unitWords(trait, " in ")}, such as 64 or 6.5${trait.kind === "ceiling" ? ", more than 0" : ""}.`);
    return;
  }
  if (low > high) {
    alertWith(`${trait.name}: the range runs backwards; write ${figure(high)} to ${figure(low)}.`);
    return;
  }
  // A length with the tail fin says between what the length without it lies, and no more.
  if (byId("total").checked) low *= model.bodyAtLeast;
  if (!askBack(doubtOf(found = found || judged(fish), trait, [low, high]))) answer([low, high]);
}

// Whether a number that can hardly be was meant so; tells whether that is to be asked.
function askBack(doubt) {
  const readings = doubt ? doubt.meant.map(([words, value]) => button(words, () => answer(value))) : [];
  byId("askedBack").replaceChildren(...(doubt ? [...line(doubt.text), el("div", readings, {className: "row"})] : []));
  return Boolean(doubt);
}

// -- what is shown ------------------------------------------------------------------------------------------

function show() {
  const begun = isBegun(fish);
  // What to ask of a fish of which nothing is said stands in the file; the rest is worked out after it is asked.
  found = begun ? judged(fish) : null;
  byId("outcome").textContent = begun ? outcome(fish, found).text : say("no answers");
  byId("undo").disabled = steps.length < 2;
  byId("stage").value = fish.stage;
  ask(nextTrait(), false);
  afterwards(() => {
    found = found || judged(fish);
    showNames();
    showSeen();
    showRest();
    showBag();
  });
}

const isBegun = ({answers, stage, bag, unseen}) => Object.keys(answers).length + bag.length + unseen.length > 0 || Boolean(stage);

function nextTrait() {
  if (!found) return traitOf.get(model.first) || null;
  return found.next ? found.next.trait : null;
}

function ask(which, chosen) {
  trait = which;
  if (!trait) found = found || judged(fish);
  picked = [];
  const states = Boolean(trait && trait.states.length), number = Boolean(trait) && !states;
  byId("question").textContent = trait ? trait.question : "";
  byId("how").textContent = trait ? trait.how : nextTrait() ? "" : say("go on");
  const stop = trait && !chosen && found && settlesLittle(fish, found);
  byId("stop").textContent = stop ? generaWords(fish, found) + say("can stop") : "";
  byId("shown").replaceChildren(...(number ? traitDrawn(trait, 0, trait.name) : trait ? [] : endingShown()));
  byId("totalLabel").hidden = !number || trait.unit !== "mm";
  byId("total").checked = false;
  byId("enough").textContent = trait ? "Enough: what is it?" : "Go on asking";
  byId("enough").disabled = !trait && !nextTrait();
  askBack(null);
  byId("other").value = chosen && trait ? trait.id : "";
  byId("several").checked = false;
  byId("severalLabel").hidden = !states;
  byId("unseen").disabled = !trait;
  byId("numbers").hidden = !number;
  for (const field of ["from", "to"]) byId(field).value = "";
  if (number) byId("fromLabel").textContent = trait.name + unitWords(trait, ", ");
  byId("states").replaceChildren(...(states ? trait.states.map((state, i) =>
    button([...traitDrawn(trait, i), trait.words[i]], () => pick(state))) : []));
  showPicked();
}

// The plain ending: what it is, what it could be, where to look for that, and the care until then.
function endingShown() {
  const {head, rivals, count: of, likeliest, settles, turns, until} = ending(fish, found);
  byId("question").textContent = head;
  const parts = rivals.flatMap(({name, kinds, trait}) => {
    const could = el("p", [say("could be"), el("strong", name),
      trait ? say("look at", {trait: trait.name.toLowerCase()}) : say("nothing tells")]);
    if (!trait) return [could];
    const heads = el("tr", kinds.map((at) => el("th", model.kinds[at].name, {scope: "col"})));
    const cells = el("tr", kinds.map((at) => el("td", cellShown(trait, at))));
    return [could, scrolling(el("table", [el("thead", heads), el("tbody", cells)]), trait.name)];
  });
  const names = likeliest.map((row) =>
    el("p", [...(model.canDraw ? [fishDrawn(row.at, "")] : []), el("strong", nameOf(row)), ` (${percent(row.probability)})`], {className: "likeliest"}));
  return [...parts, ...line(of), ...names, ...[settles, ...turns, until].flatMap((text) => line(text))];
}

function cellShown(one, at) {
  const {of, drawn} = model.rows[one.id];
  return [...(drawn[of[at]] || []).flatMap((i) => traitDrawn(one, i)), cellText(one, at)];
}

function pick(state) {
  if (!byId("several").checked) {
    answer({[state]: 1});
    return;
  }
  picked = picked.includes(state) ? picked.filter((s) => s !== state) : [...picked, state];
  showPicked();
}

function showPicked() {
  const several = byId("several").checked, number = Boolean(trait) && !trait.states.length;
  byId("leaningLabel").hidden = !several;
  byId("take").hidden = !several && !number;
  byId("take").disabled = several && !picked.length;
  if (!picked.includes(byId("leaning").value)) byId("leaning").value = "";
  [...byId("states").children].forEach((made, i) => {
    if (several) made.setAttribute("aria-pressed", picked.includes(trait.states[i]));
    else made.removeAttribute("aria-pressed");
  });
}

function showSeen() {
  const rows = traits.filter(({id}) => id in fish.answers || fish.unseen.includes(id)).map((one) => {
    const words = one.id in fish.answers ? answerWords(one, fish.answers[one.id]) : "can't be seen";
    const change = button("Change", () => {
      ask(one, true);
      byId("question").focus();
    });
    change.setAttribute("aria-label", `Change ${one.name.toLowerCase()}`);
    return el("div", [el("span", [`${one.name}: `, el("strong", words)]), change], {className: "line"});
  });
  byId("seen").replaceChildren(...(rows.length ? [el("h3", "What was seen"), ...rows] : []));
}

const MOST_NAMES = 8;

const hasNames = () => answered(fish).length > 0 || Boolean(fish.stage) || fish.bag.length > 0;

// Folds of names stay while their names do, and what is open stays open.
const folds = new Map();

function showNames() {
  if (!hasNames()) {
    folds.clear();
    byId("names").replaceChildren(...line("They will stand here, likeliest first.", "soft"));
    return;
  }
  const {left} = found, rest = left.slice(MOST_NAMES);
  const lines = () => bullets(rest.map((row) => `${nameOf(row)}: ${percent(row.probability)}`));
  const out = found.names.length - left.length, holds = out === 1 ? "name holds" : "names hold";
  const hold = `${out} other ${holds} at most ${Math.round((1 - model.coverage) * 100)} % together.`;
  arrange(byId("names"), [...left.slice(0, MOST_NAMES).map(nameFold),
    ...(rest.length ? [fold(el("summary", `and ${rest.length} more`), lines)] : []), ...line(out ? hold : "", "soft")]);
}

// Put nodes into a parent; what is there already in its place is not touched, since drawings take long to lay out.
function arrange(parent, nodes) {
  for (const child of [...parent.children]) if (!nodes.includes(child)) child.remove();
  nodes.forEach((node, i) => parent.children[i] === node || parent.insertBefore(node, parent.children[i] || null));
}

// What stands under the names; what is open there is shown anew.
function showRest() {
  for (const {made, fill} of folds.values()) if (made.open) fill();
  byId("together").replaceChildren(...together());
  besides();
}

function nameFold(row) {
  if (!folds.has(row.id)) {
    const share = el("span", "", {className: "share"}), fill = el("span");
    const drawn = model.canDraw && row.at >= 0 ? [fishDrawn(row.at, "")] : [];
    const summary = el("summary", [...drawn, el("span", nameOf(row)), share, el("span", fill, {className: "bar"})]);
    const inside = () => underName(found.names.find(({id}) => id === row.id));
    const made = fold(summary, inside, "name");
    folds.set(row.id, {made, share, bar: fill, fill: () => made.replaceChildren(summary, ...inside())});
  }
  const {made, share, bar} = folds.get(row.id);
  share.textContent = percent(row.probability);
  bar.style.width = `${row.probability * 100}%`;
  return made;
}

// The care that is right for all the names, while they are few but not one; of a stranger that of its genus.
function together() {
  if (!hasNames()) return [];
  const {kinds, genus} = careOf(fish, found), left = found.kinds.length, few = left > 1 && left <= model.care.most;
  if (!kinds.length || !(genus || few)) return [];
  const head = genus ? say("care of genus", {name: genus}) : say("care for all", {count: left});
  const made = fold(el("summary", head), () => careShown(kinds)), before = byId("together").firstChild;
  made.open = Boolean(before && before.open);
  return [made];
}

// A fold whose inside is made when it is opened.
function fold(summary, inside, className = "") {
  const made = el("details", summary, {className});
  made.addEventListener("toggle", () => made.open && whole.then(() => made.replaceChildren(summary, ...inside())));
  return made;
}

function underName(row) {
  const sides = model.sides.map(() => []), unknown = [];
  for (const reason of reasons(fish, found, row.at)) {
    const little = Math.abs(reason.decibans) < model.little;
    if (reason.unknown && reason.decibans > -model.little) unknown.push(reason.trait.name.toLowerCase());
    else if (!little || reason.trait) sides[reason.unknown ? 3 : little ? 2 : reason.decibans < 0 ? 1 : 0].push(reason.text);
  }
  if (unknown.length) sides[3].push(`${capital(listed(unknown))}: ${say("by kin")}.`);
  const why = model.sides.flatMap((side, i) => (sides[i].length ? [el("h3", side), ...bullets(sides[i])] : []));
  if (row.at < 0) return why;
  const kind = more().kinds[row.at], {name} = model.kinds[row.at];
  const parts = line(kind.introduced === name ? "" : kind.introduced);
  if (model.canDraw) {
    parts.push(fishDrawn(row.at, `${name}, drawn from the table`),
      el("details", [el("summary", model.drawnNote), ...bullets([`${kind.stage}.`, ...kind.notes])]));
  }
  parts.push(...why, ...careAlone(row.at));
  const placeOf = ({id}) => textOf(more().written[id], row.at);
  const lines = answered(fish).filter(placeOf).map((one) => `${one.name}: ${placeOf(one)}`);
  if (lines.length) parts.push(el("details", [el("summary", "Where it is written"), ...bullets(lines)]));
  return parts;
}

function careShown(kinds) {
  return [...bullets(careInBrief(kinds).map(([head, text]) => [el("strong", `${head}: `), text])),
    ...bullets(textsOf("cautions", kinds)), ...line(model.cautionInShort, "soft")];
}

// Care for one name alone; what is right while others are possible stands below the names.
function careAlone(at) {
  if (!model.care.covered || !model.care.covered[at]) return [];
  const only = "Care for this name alone: while others are possible, only what suits all of them is safe.";
  return [el("h3", "Care in brief"), ...line(found.left.length > 1 ? only : ""), ...careShown([at])];
}

// -- the bag ------------------------------------------------------------------------------------------------

function showBag() {
  const typed = byId("bagFind").value.trim(), wanted = typed.toLowerCase().replace(/\s+/g, " ");
  const kinds = model.kinds.filter(({id, name}) => fish.bag.includes(id)
    || (wanted && name.toLowerCase().includes(wanted)));
  byId("bagCount").textContent = fish.bag.length ? `: ${fish.bag.length} ticked` : "";
  byId("bag").replaceChildren(...kinds.map(({id, name}) => {
    const box = el("input", "", {type: "checkbox", checked: fish.bag.includes(id)});
    box.onchange = () => step({bag: box.checked ? [...fish.bag, id] : fish.bag.filter((one) => one !== id)}, false);
    return el("label", [box, name], {className: "check"});
  }), ...line(wanted && !kinds.length ? `No kind in this table is called ${typed}.` : ""));
}

// -- side by side -------------------------------------------------------------------------------------------

// The two likeliest kinds, or those that were chosen while there are no names.
function besides() {
  if (!byId("besideFold").open) return;
  const [one, two] = hasNames() ? found.kinds : [];
  if (one) byId("one").value = one.id;
  if (two) byId("two").value = two.id;
  showBeside();
}

function openBeside() {
  for (const [at, id] of ["one", "two"].entries()) {
    const value = byId(id).value || model.kinds[Math.min(at, count - 1)].id;
    options(byId(id), model.kinds.map((kind) => [kind.name, kind.id]), value);
  }
  found = found || judged(fish);
  besides();
}

function showBeside() {
  const kinds = ["one", "two"].map((id) => model.kinds.findIndex((kind) => kind.id === byId(id).value));
  const {differ, shared, unknown} = compared(kinds);
  const heads = ["Look at", ...kinds.map((at) => model.kinds[at].name)].map((text) => el("th", text, {scope: "col"}));
  const fishes = kinds.map((at) => el("td", model.canDraw ? fishDrawn(at, model.kinds[at].name) : ""));
  const rows = differ.map((one) => el("tr", [el("th", one.name, {scope: "row"}), ...kinds.map((at) => el("td", cellText(one, at)))]));
  const table = el("table", [el("caption", "What differs, strongest first"), el("thead", el("tr", heads)),
    el("tbody", [el("tr", [el("td"), ...fishes]), ...rows])]);
  const named = (head, some) => (some.length ? `${head}: ${some.map((one) => one.name.toLowerCase()).join(", ")}. ` : "");
  byId("beside").replaceChildren(scrolling(table, "What differs"),
    ...line(differ.length ? "" : "No trait of which the table knows both of them differs."),
    ...line(named("The same in both", shared) + named("Not known of one of them", unknown) + model.drawnNote, "soft"));
}

// -- fish kept ----------------------------------------------------------------------------------------------

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 15) | 64;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

// The time with the zone of the phone, as 2026-05-31T12:00:00.000+02:00.
function timeNow() {
  const now = new Date(), minutes = -now.getTimezoneOffset(), two = (n) => String(n).padStart(2, "0");
  const zone = `${minutes < 0 ? "-" : "+"}${two(Math.floor(Math.abs(minutes) / 60))}:${two(Math.abs(minutes) % 60)}`;
  return new Date(now.getTime() + minutes * 60000).toISOString().replace("Z", zone);
}

function keepFish() {
  const [tag, bag, tank] = ["tag", "bagLabel", "tank"].map((id) => byId(id).value.trim());
  const {answers, unseen, stage, bag: named} = fish;
  const first = byId("outcome").textContent;
  const one = {id: newId(), at: timeNow(), tag, bag, tank, answers, unseen, stage, named, edition: model.edition,
    table: model.stamp, says: first};
  if (!store(KEPT, [...stored(KEPT, []), one])) return;
  for (const id of ["tag", "bagLabel"]) byId(id).value = "";
  step(blank);
  showKept();
  byId("keptSays").textContent = `Kept on this phone: ${tag || bag || "a fish without a tag"}. The next fish can be looked at.`;
}

// What is no plain letter stands as an escape, so that no way of sending it spoils it.
function handedOver() {
  const text = JSON.stringify({"idkey pocket": 1, fish: stored(KEPT, [])}, null, 1);
  return text.replace(/[\u007f-\uffff]/g, (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`);
}

function showKept() {
  const kept = stored(KEPT, []);
  if (!kept.length) {
    byId("kept").replaceChildren();
    return;
  }
  const rows = kept.map(({tag, bag, tank, at, says}) =>
    `${[tag, bag, tank].filter(Boolean).join(", ") || "no tag"}, ${at.slice(0, 16).replace("T", " ")}: ${says}`);
  const text = el("textarea", "", {readOnly: true, value: handedOver(), id: "handedOver"});
  const file = el("a", "", {download: `fish-${timeNow().slice(0, 10)}.txt`});
  const save = button("Save as a text file", () => {
    file.href = URL.createObjectURL(new Blob([text.value], {type: "text/plain"}));
    file.click();
    setTimeout(() => URL.revokeObjectURL(file.href), 1000);
  }, {className: "main"});
  const select = button("Select the text to copy it", () => { text.focus(); text.select(); });
  let sure = false;
  const forget = button("Delete them from this phone", () => {
    if (!sure) {
      sure = true;
      forget.textContent = "Handed over? Press again to delete them";
      return;
    }
    store(KEPT, []);
    byId("keptSays").textContent = "Nothing is kept on this phone now.";
    showKept();
    byId("keep").focus();
  });
  byId("kept").replaceChildren(el("h3", `Kept on this phone: ${kept.length} fish`), ...bullets(rows),
    ...line("The book takes this text with read_pocket, each fish once however often it is read.", "soft"),
    el("div", [save, select, forget], {className: "row"}), el("label", ["The text", text]));
}

// -- the start ----------------------------------------------------------------------------------------------

function start() {
  options(byId("other"), [["what settles most", ""], ...traits.map(({id, name}) => [name, id])]);
  for (const id of ["one", "two"]) byId(id).onchange = showBeside;
  byId("besideFold").ontoggle = () => byId("besideFold").open && whole.then(openBeside);
  byId("about").append(fold(el("summary", "Sources"), () => bullets(more().sources)));
  byId("undo").onclick = () => steps.length > 1 && (steps.pop(), settle(false));
  byId("restart").onclick = () => step(blank);
  byId("enough").onclick = () => {
    ask(trait ? null : nextTrait(), false);
    byId("question").focus();
  };
  byId("several").onchange = () => {
    picked = [];
    options(byId("leaning"), [["can't say", ""], ...trait.states.map((s, i) => [trait.words[i], s])]);
    showPicked();
  };
  byId("leaning").onchange = () => {
    // Who leans to a state takes it to be possible.
    const state = byId("leaning").value;
    if (state && !picked.includes(state)) picked = [...picked, state];
    showPicked();
    byId("leaning").value = state;
  };
  byId("take").onclick = take;
  for (const field of ["from", "to"]) byId(field).onkeydown = (event) => event.key === "Enter" && take();
  byId("unseen").onclick = () => trait && answer(null);
  byId("other").onchange = () => {
    const id = byId("other").value;
    if (id) ask(traitOf.get(id), true);
    else show();
  };
  byId("stage").onchange = () => step({stage: byId("stage").value}, false);
  byId("bagFind").oninput = showBag;
  byId("keeping").hidden = !model.edition;
  byId("keep").onclick = keepFish;
  afterwards(showKept);
  const saved = model.edition ? stored(FISH, []) : [];
  if (Array.isArray(saved) && saved.length) steps = saved;
  fish = steps[steps.length - 1];
  show();
}

start();
