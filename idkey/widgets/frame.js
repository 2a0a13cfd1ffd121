// Runs inside the screen that holds it, the nearest element of class idk.
const calm = matchMedia("(prefers-reduced-motion: reduce)");

function nameOf(fold) {
  // Figures change from answer to answer, names stay.
  const summary = fold.querySelector(":scope > summary");
  const words = (summary.querySelector(".idk-name-row > :last-child") ?? summary).textContent;
  const outer = fold.parentElement.closest(".idk details");
  return `${outer ? nameOf(outer) : ""}/${words.replace(/\d+( ?%)?/g, "")}`;
}

function render({ el }) {
  const stop = new AbortController();
  const early = { capture: true, signal: stop.signal };
  const opened = new Set();
  const screen = () => el.closest(".idk");

  // JupyterLab listens on the document, so the window comes first. Ctrl and Cmd with a letter (save, the
  // list of commands) stay its own.
  addEventListener("keydown", (event) => {
    const target = event.target;
    if (!(target instanceof Element) || !screen()?.contains(target)) return;
    const theirs = (event.ctrlKey || event.metaKey) && event.key.length === 1;
    target.toggleAttribute("data-lm-suppress-shortcuts", !theirs);
  }, early);

  // What is long and stays the same came once, and is put in where a fold is open.
  function putIn() {
    for (const place of screen()?.querySelectorAll("details[open] > .idk-open > [data-idk-from]") ?? []) {
      const held = document.getElementById(`${place.dataset.idkFrom}-more`);
      if (held) place.replaceWith(held.content.cloneNode(true));
    }
  }

  const watcher = new MutationObserver((changes) => {
    const added = changes.flatMap((change) => [...change.addedNodes]).filter((n) => n instanceof Element);
    const folds = added.flatMap((n) => [...(n.matches("details") ? [n] : []), ...n.querySelectorAll("details")]);
    folds.forEach((fold) => { if (opened.has(nameOf(fold))) fold.open = true; });
    putIn();
    // What is asked for is an element that comes alone; within another it was asked of an earlier view.
    added.filter((n) => n.matches(".idk-asked")).forEach(({ dataset }) => requestAnimationFrame(() => act(dataset)));
  });

  function start() {
    if (stop.signal.aborted) return;
    const root = screen();
    if (!root) { requestAnimationFrame(start); return; }
    root.addEventListener("toggle", (event) => {
      const fold = event.target;
      if (!fold.matches("details")) return;
      opened[fold.open ? "add" : "delete"](nameOf(fold));
      putIn();
    }, early);
    watcher.observe(root, { childList: true, subtree: true });
  }
  start();

  // What is asked for may still be on its way to the page.
  function when(selector, then, frames = 60) {
    const found = screen()?.querySelector(selector);
    if (found?.checkVisibility()) then(found);
    else if (frames) requestAnimationFrame(() => when(selector, then, frames - 1));
  }
  function act({ focus, show }) {
    if (focus) when(focus, (on) => { on.tabIndex = -1; on.focus(); });
    if (show) when(show, (on) => {
      const block = on.offsetHeight > 0.7 * innerHeight ? "start" : "nearest";
      on.scrollIntoView({ block, behavior: calm.matches ? "auto" : "smooth" });
    });
  }
  return () => { stop.abort(); watcher.disconnect(); };
}

export default { render };
