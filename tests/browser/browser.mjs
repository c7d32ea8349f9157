// Chromium, and the pages of a report's folder.
import { readdirSync } from "node:fs";
import { join, relative } from "node:path";
import { chromium } from "playwright-core";

export const launch = () =>
  chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    // Containers seldom let a browser build its own sandbox; pages here are our own, from a disk.
    args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
  });

export const pagesOf = (folder) =>
  readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && entry.name.endsWith(".html"))
    .map((entry) => relative(folder, join(entry.parentPath ?? entry.path, entry.name)))
    .sort();

export const address = (folder, page) => `file://${folder}/${page}`;

/** Calls `work` with each page opened in one tab; gives what it counted and what it found. */
export const each = async (browser, folder, pages, options, work) => {
  const context = await browser.newContext(options);
  const tab = await context.newPage();
  let checked = 0;
  const found = [];
  for (const page of pages) {
    const told = [];
    const listen = (message) => { if (message.type() === "error") told.push(`console: ${message.text()}`); };
    const fail = (error) => told.push(`script: ${error.message}`);
    const lost = (request) => told.push(`not loaded: ${request.url()}`);
    tab.on("console", listen).on("pageerror", fail).on("requestfailed", lost);
    await tab.goto(address(folder, page));
    checked += await work(tab, page, (fault) => found.push(`${page}: ${fault}`));
    told.forEach((fault) => found.push(`${page}: ${fault}`));
    tab.off("console", listen).off("pageerror", fail).off("requestfailed", lost);
  }
  await context.close();
  return { checked, found };
};
