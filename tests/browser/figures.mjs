// Figures on pages are those of the tables, in either system of units.
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { each } from "./browser.mjs";

// Units of the tables, from their columns' endings, in SI. From the definitions of the mile (1609.344 m), the short ton
// (907.18474 kg), the pound (0.45359237 kg) and the watt hour (3600 J); on purpose not the program's own table.
const IN_SI = [
  [/_kwh_ton_mi$/, 3.6e6 / (907.18474 * 1609.344)],
  [/_kwh_mi$/, 3.6e6 / 1609.344],
  [/_mi(_day)?$/, 1609.344],
  [/_kwh(_day)?$/, 3.6e6],
  [/./, 1],
];
const STATED = { "kW.h/[mi_i]": 3.6e6 / 1609.344, "[mi_i]": 1609.344 };

/** RFC 4180: quoted cells, doubled quotes. */
const parse = (text) => {
  const rows = [[]];
  let cell = "";
  let quoted = false;
  for (let at = 0; at < text.length; at += 1) {
    const c = text[at];
    if (quoted) {
      if (c !== '"') cell += c;
      else if (text[at + 1] === '"') { cell += c; at += 1; } else quoted = false;
    } else if (c === '"') quoted = true;
    else if (c === "," || c === "\n") {
      rows.at(-1).push(cell);
      cell = "";
      if (c === "\n") rows.push([]);
    } else if (c !== "\r") cell += c;
  }
  rows.pop();
  const [head, ...body] = rows;
  return body.map((row) => Object.fromEntries(head.map((name, n) => [name, row[n]])));
};

const marked = (tab) =>
  tab.evaluate(() =>
    [...document.querySelectorAll("data[data-kind]")].map((at) => ({
      si: at.value, kind: at.dataset.kind, digits: at.dataset.digits, of: at.dataset.of ?? "", text: at.textContent,
    })));

/** Figures written into a drawing, in the unit of their column times a scale. */
const drawn = (tab) =>
  tab.evaluate(() =>
    [...document.querySelectorAll("svg [data-of]")].map((at) => ({ of: at.dataset.of, scale: Number(at.dataset.scale ?? 1), text: at.textContent })));

const units = (tab) => tab.evaluate(() => [...document.querySelectorAll("[data-unit]")].map((at) => at.textContent));

export const figures = async (browser, folder, pages) => {
  const tables = new Map();
  const table = (name) => {
    if (!tables.has(name)) {
      const path = join(folder, "tables", `${name}.csv`);
      tables.set(name, existsSync(path) ? parse(readFileSync(path, "utf8")) : []);
    }
    return tables.get(name);
  };
  return each(browser, folder, pages, { javaScriptEnabled: false }, async (tab, page, fault) => {
    let checked = 0;
    for (const figure of await marked(tab)) {
      if (figure.of === "") continue;
      const [, name, row, column] = figure.of.match(/^(\w+)\.(\d+)\.(\w+)$/) ?? [];
      const cells = table(name)[Number(row)];
      const text = cells?.[column];
      checked += 1;
      if (text === undefined || text === "") { fault(`${figure.of} is in no table`); continue; }
      const stated = /^(value|plan_value|margin)/.test(column) && figure.kind !== "plain" ? STATED[cells.unit] ?? 1 : undefined;
      const plain = figure.kind === "plain" || figure.kind === "share";
      const si = Number(text) * (plain ? 1 : stated ?? IN_SI.find(([end]) => end.test(column))[1]);
      if (Math.abs(si - Number(figure.si)) > 1e-9 * Math.max(1e-9, Math.abs(si))) {
        fault(`${figure.of} is ${text} in the table and ${figure.si} in SI on the page`);
      }
      const factor = { share: 100, energy: 1 / 3.6e6, power: 1e-3, hours: 1 / 3600, per_distance: 1609.344 / 3.6e6, distance: 1 / 1609.344, mass: 1 / 0.45359237, speed: 1 / 0.44704, height: 1 / 0.3048, temperature: 1.8 }[figure.kind] ?? 1;
      // Degrees Fahrenheit do not begin at absolute zero.
      const offset = figure.kind === "temperature" ? -459.67 : 0;
      if (figure.kind !== "per_load_distance" && Math.abs(Number(figure.text) - si * factor - offset) > 0.5001 * 10 ** -figure.digits) {
        fault(`${figure.of} is ${text} in the table and reads ${figure.text}`);
      }
    }
    for (const { of, scale, text } of await drawn(tab)) {
      const [, name, row, column] = of.match(/^(\w+)\.(\d+)\.(\w+)$/) ?? [];
      const cell = table(name)[Number(row)]?.[column];
      const digits = text.split(".")[1]?.length ?? 0;
      checked += 1;
      if (!cell || Math.abs(Number(text) - Number(cell) * scale) > 0.5001 * 10 ** -digits) {
        fault(`${of} is ${cell} in the table and drawn as ${text}`);
      }
    }
    return checked;
  });
};

/** What the program writes and what the script shows is the same text, in both systems, there and back. */
export const switches = async (browser, folder, metric, pages) => {
  const written = new Map();
  for (const [system, from] of [["us", folder], ["metric", metric]]) {
    await each(browser, from, pages, { javaScriptEnabled: false }, async (tab, page) => {
      written.set(`${system} ${page}`, JSON.stringify([(await marked(tab)).map((at) => at.text), await units(tab)]));
      return 1;
    });
  }
  const choose = (tab, system) => tab.locator(`input[name=units][value=${system}]`).check();
  const shown = async (tab) => JSON.stringify([(await marked(tab)).map((at) => at.text), await units(tab)]);
  return each(browser, folder, pages, {}, async (tab, page, fault) => {
    for (const system of ["us", "metric", "us"]) {
      await choose(tab, system);
      const [is, wanted] = [await shown(tab), written.get(`${system} ${page}`)];
      if (is !== wanted) fault(`${system}: the script shows other text than the program writes`);
      const drawn = await tab.evaluate(() => [...document.querySelectorAll(".us-only, .metric-only")]
        .filter((at) => getComputedStyle(at).display !== "none").map((at) => at.classList.contains("metric-only")));
      if (drawn.some((is) => is !== (system === "metric"))) fault(`${system}: a chart of the other system is shown`);
    }
    // The choice outlives the page, and the next page knows it.
    await choose(tab, "metric");
    // What a page stores reaches the next one through another process, on a busy machine not at once.
    let kept = false;
    for (let trial = 0; trial < 20 && !kept; trial += 1) {
      await tab.waitForTimeout(Math.min(100 * trial, 1500));
      await tab.reload();
      kept = (await shown(tab)) === written.get(`metric ${page}`);
    }
    if (!kept) fault("the choice is forgotten when the page is opened again");
    await choose(tab, "us");
    return 4 * (await marked(tab)).length;
  });
};
