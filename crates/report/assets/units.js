"use strict";
// Shows every figure in US or metric units. Kinds are the table of the program; figures stand on the page in SI.
(() => {
  const KINDS = /*KINDS*/{};
  const KEY = "backwatt-units";
  const root = document.documentElement;

  // A browser may refuse storage to pages from a disk: then the choice lasts as long as the page.
  const recall = () => { try { return localStorage.getItem(KEY); } catch { return null; } };
  const keep = (system) => { try { localStorage.setItem(KEY, system); } catch { /* nothing to keep it in */ } };

  // As the program writes it: ties away from zero, no sign before a zero.
  const fixed = (value, digits) => {
    const text = value.toFixed(digits);
    return /^-0(\.0*)?$/.test(text) ? text.slice(1) : text;
  };
  const convert = (si, kind, system) => { const at = KINDS[kind][system]; return si * at.factor + at.offset; };
  const format = (si, kind, digits, system) => fixed(convert(si, kind, system), digits);
  const word = (name, system) => KINDS[name][system].word;

  const mark = (system) => {
    for (const at of document.querySelectorAll("[name=units]")) at.checked = at.value === system;
  };
  const show = (system) => {
    root.dataset.system = system;
    mark(system);
    for (const at of document.querySelectorAll("data[data-kind]")) {
      at.textContent = format(Number(at.value), at.dataset.kind, Number(at.dataset.digits), system);
    }
    for (const at of document.querySelectorAll("[data-unit]")) at.textContent = word(at.dataset.unit, system);
    document.dispatchEvent(new CustomEvent("units", { detail: system }));
  };

  window.backwatt = { KINDS, convert, format, word, system: () => root.dataset.system };
  const fieldset = document.querySelector(".units");
  fieldset.hidden = false;
  fieldset.addEventListener("change", (event) => { keep(event.target.value); show(event.target.value); });
  const stored = recall();
  // What the page was written in stands there already.
  const other = (stored === "us" || stored === "metric") && stored !== root.dataset.system;
  if (other) show(stored); else mark(root.dataset.system);
})();
