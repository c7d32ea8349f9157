// Opening, following links, a phone, a printer, a keyboard.
import { existsSync, readFileSync } from "node:fs";
import { dirname, join, normalize } from "node:path";
import { each } from "./browser.mjs";

const PHONE = { viewport: { width: 375, height: 740 }, isMobile: true, hasTouch: true };
// A4 less the margins of the style sheet, at 96 dots an inch.
const SHEET_PAGES = 2;
const SHEET_PX = { landscape: Math.floor(((297 - 24) / 25.4) * 96), portrait: Math.floor(((210 - 30) / 25.4) * 96) };

export const opens = (browser, folder, pages) =>
  each(browser, folder, pages, {}, async (tab, page, fault) => {
    const seen = await tab.evaluate(() => ({
      heading: document.querySelector("h1")?.textContent.trim() ?? "",
      policy: document.querySelector("meta[http-equiv]")?.content ?? "",
      styled: getComputedStyle(document.body).marginTop === "0px",
      ran: typeof window.backwatt === "object",
      entries: document.querySelectorAll("nav[aria-label=Pages] a").length,
      here: document.querySelectorAll("nav [aria-current=page]").length,
      main: document.querySelectorAll("main").length,
      skip: document.querySelector("a.skip")?.getAttribute("href") ?? "",
    }));
    if (!seen.heading) fault("no heading");
    if (!seen.policy.startsWith("default-src 'none'")) fault("no policy");
    if (!seen.styled) fault("the style was refused");
    if (!seen.ran) fault("the script was refused");
    if (seen.entries < 11 || seen.here !== 1) fault(`navigation with ${seen.entries} entries, ${seen.here} of them here`);
    if (seen.main !== 1 || seen.skip !== "#content") fault("no way to skip to the content");
    return 1;
  });

/** Every link leads to a file of the folder, and to a place in it. */
export const links = async (folder, pages) => {
  const found = [];
  let checked = 0;
  const text = new Map(pages.map((page) => [page, readFileSync(join(folder, page), "utf8")]));
  for (const [page, html] of text) {
    for (const [, , target] of html.matchAll(/ (href|src)="([^"]*)"/g)) {
      checked += 1;
      if (/^[a-z]+:/i.test(target)) { found.push(`${page}: leads out of the report: ${target}`); continue; }
      const [file, anchor] = target.split("#");
      const path = file === "" ? page : normalize(join(dirname(page), decodeURIComponent(file)));
      if (!existsSync(join(folder, path))) found.push(`${page}: leads nowhere: ${target}`);
      else if (anchor && !text.get(path)?.includes(` id="${anchor}"`)) found.push(`${page}: no such place: ${target}`);
    }
  }
  return { checked, found };
};

export const narrow = (browser, folder, pages) =>
  each(browser, folder, pages, PHONE, async (tab, page, fault) => {
    const width = await tab.evaluate(() => document.documentElement.scrollWidth);
    if (width > PHONE.viewport.width) fault(`${width} px wide on a phone of ${PHONE.viewport.width}`);
    return 1;
  });

/** Every number beside a cell stands below its table, and every remark there has its number in the table. */
export const notes = (browser, folder, pages) =>
  each(browser, folder, pages, { javaScriptEnabled: false }, async (tab, page, fault) => {
    const tables = await tab.evaluate(() => {
      const marks = (at) => [...at.querySelectorAll("sup")].flatMap((sup) => sup.textContent.replace(/[[\]]/g, "").split(", "));
      const remarks = (list) => (list ? [...list.children].map((_, n) => String(n + 1)) : []);
      // Tables folded by day share one list below them all.
      const folded = [...document.querySelectorAll("section#trip")].filter((at) => at.querySelector("details"));
      const alone = [...document.querySelectorAll("div.scroll")].filter((at) => !folded.some((section) => section.contains(at)));
      const below = (at) => (at.nextElementSibling?.matches("ol.remarks") ? at.nextElementSibling : null);
      return [
        ...folded.map((at) => ({ marks: marks(at), remarks: remarks(at.querySelector("ol.remarks")) })),
        ...alone.map((at) => ({ marks: marks(at), remarks: remarks(below(at)) })),
      ];
    });
    for (const { marks, remarks } of tables) {
      marks.filter((mark) => !remarks.includes(mark)).forEach((mark) => fault(`no remark [${mark}] below its table`));
      remarks.filter((remark) => !marks.includes(remark)).forEach((remark) => fault(`remark ${remark} has no mark in its table`));
    }
    return tables.filter(({ marks }) => marks.length > 0).length;
  });

/** On a desk a reader sees whole tables. */
export const wide = (browser, folder, pages) =>
  each(browser, folder, pages, { viewport: { width: 1280, height: 900 } }, async (tab, page, fault) => {
    const widths = await tab.evaluate(() => {
      document.querySelectorAll("details").forEach((at) => { at.open = true; });
      return [...document.querySelectorAll("div.scroll")].map((at) => [at.closest("section")?.id, at.scrollWidth - at.clientWidth]);
    });
    widths.filter(([, over]) => over > 0).forEach(([id, over]) => fault(`a table of ${id} is ${over} px too wide`));
    return widths.length;
  });

/** Nothing is cut or stays folded; a sheet to talk over has two pages at most. */
export const printed = (browser, folder, pages) =>
  each(browser, folder, pages, {}, async (tab, page, fault) => {
    const way = (await tab.locator(".sheet").count()) > 0 ? "portrait" : "landscape";
    await tab.setViewportSize({ width: SHEET_PX[way], height: 900 });
    await tab.emulateMedia({ media: "print" });
    const cut = await tab.evaluate(() => {
      const edge = document.documentElement.clientWidth + 1;
      return [...document.querySelectorAll("table, svg, p, pre")]
        .filter((at) => at.getBoundingClientRect().right > edge)
        .map((at) => `${at.tagName.toLowerCase()} of ${at.closest("section")?.id ?? "the page"} ends at ${Math.round(at.getBoundingClientRect().right)} of ${edge} px`);
    });
    cut.forEach((what) => fault(`cut in print: ${what}`));
    const folded = await tab.evaluate(() =>
      [...document.querySelectorAll("details table")].filter((at) => at.getBoundingClientRect().height === 0).length);
    if (folded > 0) fault(`${folded} tables stay folded in print`);
    const bytes = await tab.pdf({ preferCSSPageSize: true });
    if (bytes.length < 5000 || bytes.subarray(0, 5).toString() !== "%PDF-") fault(`a print of ${bytes.length} bytes`);
    // Chromium writes the tree of pages as it is; its root counts them all.
    const counts = [...bytes.toString("latin1").matchAll(/\/Count (\d+)/g)].map((at) => Number(at[1]));
    if (way === "portrait" && !(Math.max(...counts) <= SHEET_PAGES)) fault(`a sheet of ${Math.max(...counts)} printed pages`);
    await tab.emulateMedia({ media: null });
    return 1;
  });

/** Tab reaches whatever can be used, in order, and shows where it is. */
export const keyboard = (browser, folder, pages) =>
  each(browser, folder, pages, {}, async (tab, page, fault) => {
    const wanted = await tab.evaluate(() => {
      const seen = (at) => at.checkVisibility() && !(at.type === "radio" && !at.checked);
      const all = [...document.querySelectorAll("a[href], input, summary, button, select, [tabindex='0']")].filter(seen);
      all.forEach((at, n) => { at.dataset.walk = n; });
      return all.length;
    });
    const steps = Math.min(wanted, 150);
    const reached = new Set();
    let unseen = 0;
    for (let step = 0; step < steps; step += 1) {
      await tab.keyboard.press("Tab");
      const at = await tab.evaluate(() => {
        const style = getComputedStyle(document.activeElement);
        return { walk: document.activeElement.dataset.walk, outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2 };
      });
      if (at.walk !== undefined) reached.add(at.walk);
      if (!at.outline) unseen += 1;
    }
    if (reached.size < steps) fault(`the keyboard reaches ${reached.size} of ${steps}`);
    if (unseen > 0) fault(`${unseen} stops of the keyboard cannot be seen`);
    return steps;
  });
