// Looks at the pages of a report as a browser does, and says what is wrong with them.
//
// node check.mjs DIR [--shots DIR]: every page is opened from disk; each fault is one line on standard error, and the
// exit status is 1 where there is any. What is asked:
//  - no error in the console, no request but for files of the report;
//  - every link resolves, every anchor is there; HTML is valid (html-validate, its standard rules);
//  - on a phone nothing is wider than the page, and words of drawings are as large as may be read; in print (A4 and
//    Letter) no table, drawing or line is cut;
//  - one page of each sort, as it lies on paper: no row lies over the end of a page, no heading at its foot, and no
//    page ends half empty;
//  - one page of each sort: axe-core finds nothing in light and in dark, the keyboard reaches everything, filters
//    filter, the drawing of what is made of what marks what a record touches.
import { spawnSync } from "node:child_process";
import { existsSync, mkdirSync, readFileSync, readdirSync, statSync } from "node:fs";
import { basename, dirname, join, relative, resolve } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { createRequire } from "node:module";
import puppeteer from "puppeteer-core";
import { HtmlValidate } from "html-validate";

const require = createRequire(import.meta.url);
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const folder = resolve(process.argv[2]);
const shots = process.argv[3] === "--shots" ? resolve(process.argv[4]) : null;
const MOST_BYTES = 300_000;
// px at 96 to the inch, less the margins of the style sheet (13 mm on each side).
const PAPER = { A4: 695, Letter: 717 };
// Words of drawings on a phone, px.
const LEAST_TEXT = 10.9;
// What of a page may stay white at its foot where the next piece is too tall for it.
const WHITE = 0.5;

const faults = [];
const fault = (page, words) => faults.push(`${relative(folder, page)}: ${words}`);

const files = readdirSync(folder, { recursive: true })
  .map((name) => join(folder, name))
  .filter((name) => statSync(name).isFile());
const pages = files.filter((name) => name.endsWith(".html")).sort();

// One page of each sort for what takes long: the largest of each folder, and all at the top.
const sorts = new Map();
for (const page of pages) {
  const kind = dirname(relative(folder, page));
  if (kind === ".") sorts.set(page, page);
  else if (!sorts.has(kind) || statSync(page).size > statSync(sorts.get(kind)).size) sorts.set(kind, page);
}
const chosen = new Set(sorts.values());

const validate = new HtmlValidate({
  extends: ["html-validate:standard"],
  rules: {
    // Rules of style, not of validity.
    "long-title": "off",
    "no-trailing-whitespace": "off",
    "void-style": "off",
    "doctype-style": "off",
    "no-inline-style": "error",
    // Names may hold a dot or begin with a figure.
    "valid-id": ["error", { relaxed: true }],
    // Its sorting of rows asks for what tables here do not do.
    "prefer-tbody": "off",
    "prefer-native-element": "off",
    "require-sri": "off",
  },
});

for (const page of pages) {
  if (statSync(page).size > MOST_BYTES) fault(page, `it has ${statSync(page).size} bytes`);
  const found = await validate.validateFile(page);
  for (const result of found.results)
    for (const one of result.messages.slice(0, 5))
      if (one.severity === 2) fault(page, `line ${one.line}: ${one.message} (${one.ruleId})`);
}

// Named by its path: the driver looks nothing up.
const named = process.env.BONDLINE_CHROMIUM || "chromium";
const program = named.includes("/")
  ? named
  : process.env.PATH.split(":").map((own) => join(own, named)).find((own) => existsSync(own));
if (!program) {
  console.error(`${named} is not there: tests/run installs it`);
  process.exit(2);
}
const browser = await puppeteer.launch({
  executablePath: program,
  headless: true,
  args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
});

const anchors = new Map();
const seen = [];
async function look(page) {
  const tab = await browser.newPage();
  tab.on("console", (one) => { if (["error", "warn"].includes(one.type())) fault(page, `console: ${one.text()}`); });
  tab.on("pageerror", (error) => fault(page, `script: ${error.message}`));
  tab.on("request", (one) => {
    const url = one.url();
    const own = url.startsWith("file:") && !relative(folder, fileURLToPath(url.split(/[?#]/)[0])).startsWith("..");
    if (!own) fault(page, `it asks for ${url}`);
  });
  tab.on("requestfailed", (one) => fault(page, `${one.url()} can't be had`));
  tab.on("dialog", async (one) => { fault(page, "it opens a dialogue"); await one.dismiss(); });
  await tab.setViewport({ width: 1280, height: 900 });
  await tab.goto(pathToFileURL(page).href, { waitUntil: "load" });
  const { links, ids, title } = await tab.evaluate(() => ({
    links: Array.from(document.querySelectorAll("a[href]"), (one) => one.getAttribute("href")),
    ids: Array.from(document.querySelectorAll("[id]"), (one) => one.id),
    title: document.title,
  }));
  if (!title.trim()) fault(page, "it has no title");
  anchors.set(page, new Set(ids));
  seen.push([page, links]);

  await tab.setViewport({ width: 390, height: 800 });
  const wide = await tab.evaluate(() => document.documentElement.scrollWidth);
  if (wide > 391) fault(page, `on a phone it is ${wide} px wide`);
  await tab.setViewport({ width: 360, height: 800 });
  const small = await tab.evaluate((least) => Array.from(document.querySelectorAll("svg text"))
    .map((one) => [parseFloat(getComputedStyle(one).fontSize) * (one.getScreenCTM()?.a ?? 1), one.textContent])
    .filter(([size]) => size < least), LEAST_TEXT);
  if (small.length) fault(page, `on a phone ${small.length} words of drawings are small, such as "${small[0][1].slice(0, 30)}" with ${small[0][0].toFixed(1)} px`);

  await tab.emulateMediaType("print");
  for (const [paper, width] of Object.entries(PAPER)) {
    await tab.setViewport({ width, height: 1000 });
    const cut = await tab.evaluate((width) => {
      const all = Array.from(document.querySelectorAll("table, svg, pre, p, h1, h2, h3, dl, ul"));
      const over = all.filter((one) => one.getBoundingClientRect().right > width + 1.5 && one.offsetParent !== null || one.tagName === "svg" && one.getBoundingClientRect().right > width + 1.5);
      return over.slice(0, 3).map((one) => `${one.tagName.toLowerCase()} ${Math.round(one.getBoundingClientRect().right)} px: ${(one.textContent || "").trim().slice(0, 60)}`);
    }, width);
    for (const one of cut) fault(page, `printed on ${paper} it is cut: ${one}`);
    const tall = await tab.evaluate(() => Array.from(document.querySelectorAll("tr, svg")).filter((one) => one.getBoundingClientRect().height > 980).length);
    // Over the end of a page no row, figure or heading breaks, and a table's head comes again. A drawing is one piece by
    // its nature, where it is no taller than a page.
    const breaks = await tab.evaluate(() => {
      const whole = (one) => getComputedStyle(one).breakInside === "avoid" || one.parentElement && one.parentElement !== document.body && whole(one.parentElement);
      const wrong = [
        ...Array.from(document.querySelectorAll("tr, figure")).filter((one) => !whole(one)),
        ...Array.from(document.querySelectorAll("h1, h2, h3, caption")).filter((one) => getComputedStyle(one).breakAfter !== "avoid"),
        ...Array.from(document.querySelectorAll("thead")).filter((one) => getComputedStyle(one).display !== "table-header-group" && one.checkVisibility()),
      ];
      return wrong.slice(0, 3).map((one) => one.outerHTML.slice(0, 80));
    });
    for (const one of breaks) fault(page, `printed on ${paper} it may break badly over the end of a page: ${one}`);
    if (tall) fault(page, `printed on ${paper} ${tall} rows or drawings are taller than a page`);
  }
  await tab.emulateMediaType("screen");

  if (chosen.has(page)) {
    await tab.setViewport({ width: 1280, height: 900 });
    for (const theme of ["light", "dark"]) {
      await tab.emulateMediaFeatures([{ name: "prefers-color-scheme", value: theme }]);
      const broken = await tab.evaluate(async (source) => {
        if (!window.axe) (0, eval)(source);
        const found = await window.axe.run(document, { resultTypes: ["violations"], preload: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"] });
        return found.violations.map((one) => `${one.id}: ${one.help} (${one.nodes.length}, such as ${one.nodes[0].html.slice(0, 120)})`);
      }, axe).catch((error) => [`axe can't run: ${error.message}`]);
      for (const one of broken) fault(page, `axe, ${theme}: ${one}`);
      if (shots) {
        mkdirSync(shots, { recursive: true });
        const name = relative(folder, page).replaceAll("/", "-").replace(/\.html$/, "");
        await tab.screenshot({ path: join(shots, `${name}-${theme}.png`), fullPage: true });
      }
    }
    await keyboard(tab, page);
    await filters(tab, page);
    if (basename(page) === "graph.html") await touching(tab, page);
    for (const format of ["A4", "Letter"]) {
      const pdf = await tab.pdf({ format, printBackground: true });
      if (pdf.length < 2000) fault(page, `printed on ${format} it is empty`);
    }
    await printed(tab, page);
  }
  await tab.close();
}

// Two at a time: one waits while the other draws. What needs the keyboard's focus is one at a time.
const near = pages.filter((page) => !chosen.has(page));
const worker = async () => { for (let page = near.pop(); page; page = near.pop()) await look(page); };
await Promise.all([worker(), worker()]);
for (const page of chosen) await look(page);
await browser.close();

for (const [page, links] of seen) {
  for (const link of new Set(links)) {
    const [path, anchor] = link.split("#");
    const target = path ? resolve(dirname(page), decodeURIComponent(path)) : page;
    if (/^[a-z]+:/i.test(path)) fault(page, `it leads out: ${link}`);
    else if (!existsSync(target)) fault(page, `${link} leads nowhere`);
    else if (anchor && !(anchors.get(target) || new Set()).has(decodeURIComponent(anchor))) fault(page, `${link} has no such place`);
  }
}

// Tab reaches every part that can be used, and shows where it is.
async function keyboard(tab, page) {
  const count = await tab.evaluate(() => {
    document.activeElement?.blur();
    const all = Array.from(document.querySelectorAll("a[href], button, input, select, summary, [tabindex='0']"));
    const usable = all.filter((one) => one.checkVisibility({ contentVisibilityAuto: true }) || one.classList.contains("skip"));
    usable.forEach((one, at) => { one.dataset.tabbed = "no"; });
    return usable.length;
  });
  // Long pages repeat what was seen: some hundred steps tell.
  const steps = Math.min(count, 250);
  const reached = new Set();
  for (let at = 0; at < steps; at += 1) {
    await tab.keyboard.press("Tab");
    const here = await tab.evaluate((at) => {
      const one = document.activeElement;
      if (!one || one === document.body) return null;
      one.dataset.tabbed = String(at);
      const style = getComputedStyle(one);
      return { name: one.outerHTML.slice(0, 80), shown: one.classList.contains("skip") || style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0 };
    }, at);
    if (!here) break;
    reached.add(here.name);
    if (!here.shown) { fault(page, `the keyboard is lost on ${here.name}`); break; }
  }
  // On a long page none of the first parts may be passed over: the keyboard goes in the order of the page.
  const left = await tab.evaluate((steps) => Array.from(document.querySelectorAll("[data-tabbed]")).slice(0, steps).filter((one) => one.dataset.tabbed === "no").slice(0, 3).map((one) => one.outerHTML.slice(0, 80)), steps);
  if (left.length) fault(page, `the keyboard does not reach ${left.join(" ")}`);
}

// How it lies on paper. Marks that nobody sees are set into cells and beside headings; on which page each comes out tells
// what is torn apart. Tables are given their marks last: nothing is done with the page after it.
async function printed(tab, page) {
  await tab.emulateMediaType("print");
  // As before printing: what is folded is opened.
  const marked = await tab.evaluate(() => {
    window.dispatchEvent(new Event("beforeprint"));
    const mark = (name) => {
      const own = document.createElement("span");
      own.textContent = ` Q${name}Z `;
      own.style.fontSize = "1px";
      return own;
    };
    const said = { rows: [], heads: [] };
    // The first words behind a heading that are no drawing's.
    const walk = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
    const texts = [];
    while (walk.nextNode()) {
      const own = walk.currentNode;
      if (own.textContent.trim() && !own.parentElement.closest("svg") && own.parentElement.checkVisibility()) texts.push(own);
    }
    const ends = [];
    const plain = (own) => own.textContent.trim().slice(0, 60);
    for (const head of document.querySelectorAll("main :is(h1, h2, h3, caption)")) {
      const next = texts.find((one) => !head.contains(one) && head.compareDocumentPosition(one) & Node.DOCUMENT_POSITION_FOLLOWING && !one.parentElement.closest("thead"));
      if (!head.checkVisibility() || !next) continue;
      ends.push([head, next, plain(head)]);
    }
    for (const [head, next, words] of ends) {
      said.heads.push(words);
      head.append(mark(`h${said.heads.length}a`));
      next.before(mark(`h${said.heads.length}b`));
    }
    for (const row of document.querySelectorAll("main tbody tr")) {
      if (!row.checkVisibility()) continue;
      said.rows.push(plain(row));
      for (const cell of row.cells) {
        cell.prepend(mark(`r${said.rows.length}a`));
        cell.append(mark(`r${said.rows.length}b`));
      }
    }
    return said;
  });
  for (const format of Object.keys(PAPER)) {
    const pdf = await tab.pdf({ format, preferCSSPageSize: false });
    const read = spawnSync("pdftotext", ["-bbox", "-", "-"], { input: pdf, maxBuffer: 1 << 28 });
    if (read.status !== 0) return fault(page, `pdftotext can't read it: ${read.error || read.stderr} (tests/run installs poppler-utils)`);
    const places = new Map();
    const sheets = read.stdout.toString().split("<page ").slice(1);
    sheets.forEach((sheet, number) => {
      const height = parseFloat(/height="([\d.]+)"/.exec(sheet)[1]);
      let low = 0;
      for (const [, bottom, words] of sheet.matchAll(/yMax="([\d.]+)">([^<]*)</g)) {
        low = Math.max(low, parseFloat(bottom));
        for (const [, kind, which] of words.matchAll(/Q([hr])(\d+)[ab]Z/g)) {
          const key = kind + which;
          places.set(key, (places.get(key) || new Set()).add(number));
        }
      }
      const white = 1 - low / height;
      if (number + 1 < sheets.length && white > WHITE) fault(page, `printed on ${format} page ${number + 1} of ${sheets.length} is white from ${Math.round(100 - white * 100)} % on`);
    });
    const torn = (kind, all, what) => {
      const found = all.filter((_, at) => (places.get(kind + (at + 1)) || new Set()).size > 1);
      if (found.length) fault(page, `printed on ${format} ${found.length} ${what}, such as "${found[0]}"`);
      const unseen = all.filter((_, at) => !places.has(kind + (at + 1)));
      if (unseen.length) fault(page, `printed on ${format} ${unseen.length} of ${what.split(" ")[0]} are not there, such as "${unseen[0]}"`);
    };
    torn("r", marked.rows, "rows lie over the end of a page");
    torn("h", marked.heads, "headings stand at the foot of a page");
  }
}

async function filters(tab, page) {
  const forms = await tab.$$("form.filters");
  for (const form of forms) {
    const words = await form.$("input[name=words]");
    if (!words) continue;
    const shown = () => form.evaluate((own) => Array.from(document.getElementById(own.dataset.table).tBodies).flatMap((body) => Array.from(body.rows)).filter((row) => !row.hidden).length);
    const before = await shown();
    if (!before) continue;
    await words.type("zzzz no such word");
    if (await shown()) fault(page, "the filter of words filters nothing");
    await words.evaluate((own) => { own.value = ""; own.dispatchEvent(new Event("input", { bubbles: true })); });
    if ((await shown()) !== before) fault(page, "the filter does not come back");
    for (const select of await form.$$("select")) {
      const values = await select.evaluate((own) => Array.from(own.options, (one) => one.value).filter(Boolean));
      const name = await select.evaluate((own) => own.name);
      // Which rows it shows, by their places.
      const places = () => form.evaluate((own) => Array.from(document.getElementById(own.dataset.table).tBodies).flatMap((body) => Array.from(body.rows)).flatMap((row, at) => row.hidden ? [] : [at]));
      const by = new Map();
      for (const value of values) {
        await select.select(value);
        const rows = await places();
        for (const at of rows) by.set(at, [...(by.get(at) || []), value]);
        // Only verdicts are a list; all else is one value, blanks and all.
        const wrong = await form.evaluate((own, name, value, rows) => {
          const all = Array.from(document.getElementById(own.dataset.table).tBodies).flatMap((body) => Array.from(body.rows));
          const said = (row) => name === "verdicts"
            ? row.dataset[name].split(/\s+/).includes(value)
            : row.dataset[name] === value;
          return all.flatMap((row, at) => said(row) === rows.includes(at) ? [] : [row.textContent.trim().slice(0, 40)]);
        }, name, value, rows);
        if (wrong.length) fault(page, `the filter ${name} is wrong for ${value} on ${wrong.length} rows, such as ${wrong[0]}`);
      }
      if (values.length && !by.size) fault(page, `the filter ${name} never shows a row`);
      // A filter may offer the first eighty values alone.
      const named = await form.evaluate((own, name) => Array.from(document.getElementById(own.dataset.table).tBodies).flatMap((body) => Array.from(body.rows)).filter((row) => row.dataset[name]).length, name);
      if (values.length < 80 && by.size !== named) fault(page, `the filter ${name} shows ${by.size} of the ${named} rows that have a value`);
      const twice = name === "verdicts" ? [] : Array.from(by.values()).filter((own) => own.length > 1);
      if (twice.length) fault(page, `the filter ${name} shows one row for ${twice[0].join(" and for ")}`);
      await select.select("");
    }
  }
}

async function touching(tab, page) {
  const found = await tab.evaluate(() => {
    const drawing = document.querySelector("svg.touch");
    // A ledger without records has nothing to draw.
    if (!drawing) return { lacking: document.getElementById("uses") !== null };
    const edges = Array.from(drawing.querySelectorAll("[data-from]"));
    const name = edges[0].dataset.from;
    const node = drawing.querySelector(`[data-node="${CSS.escape(name)}"]`) || Array.from(drawing.querySelectorAll("[data-node]")).find((one) => one.dataset.node === name);
    node.focus();
    const on = drawing.querySelectorAll("[data-node].on").length;
    const lines = drawing.querySelectorAll("[data-from].on").length;
    node.blur();
    return { on, lines, after: drawing.querySelectorAll(".on").length };
  });
  if (found.lacking) fault(page, "what uses what is not drawn");
  if ("on" in found && (found.on < 2 || found.lines < 1)) fault(page, `a record that is pointed at marks ${found.on} records and ${found.lines} lines`);
  if (found.after) fault(page, "what was marked stays marked");
}

for (const one of faults.slice(0, 200)) console.error(one);
console.log(`${pages.length} pages, ${chosen.size} looked at closely, ${faults.length} faults`);
process.exit(faults.length ? 1 : 0);
