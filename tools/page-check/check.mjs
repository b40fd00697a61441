// Uses pages of `tatter proof --page` as a person does, in a headless Chromium; fails on the first page that disappoints.
//   CHROMIUM=/usr/bin/chromium node check.mjs [--shots DIR] INDEX.html ...
// With --shots, screenshots at the sizes of a desk and a phone, light and dark, and the printed page stay in DIR.
import assert from "node:assert/strict";
import { mkdir, writeFile } from "node:fs/promises";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const given = process.argv.slice(2);
const at = given.indexOf("--shots");
const shots = at >= 0 ? given.splice(at, 2)[1] : null;
if (given.length === 0) {
  console.error("usage: node check.mjs [--shots DIR] INDEX.html ...");
  process.exit(2);
}
if (shots) await mkdir(shots, { recursive: true });

const DESK = { width: 1280, height: 900 };
const TABLET = { width: 768, height: 1024 };
const PHONE = { width: 360, height: 740 };
// Background work of the browser itself would try the network, and what is asked here is whether the page does.
const ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, headless: true, args: ARGUMENTS });
// A failed assertion must not leave the browser running.
let number = 0;
try {
  for (const file of given) await check(pathToFileURL(file).href, file, `${++number}`);
} finally {
  await browser.close();
}

async function check(url, file, name) {
  const opened = async (size, scheme, more = {}) => {
    const context = await browser.newContext({ viewport: size, colorScheme: scheme, ...more });
    const page = await context.newPage();
    const complaints = [];
    page.on("console", (message) => ["error", "warning"].includes(message.type()) && complaints.push(message.text()));
    page.on("dialog", (dialog) => {
      complaints.push(`a dialog: ${dialog.message()}`);
      return dialog.dismiss();
    });
    page.on("pageerror", (error) => complaints.push(String(error)));
    page.on("request", (request) => request.url() === url || request.url().startsWith("data:") || complaints.push(`asks for ${request.url()}`));
    await page.goto(url, { waitUntil: "load" });
    return { page, complaints, close: () => context.close() };
  };

  const desk = await opened(DESK, "light");
  const compares = await everyPictureIsThere(desk.page);
  await kept(desk.page, `${name}-desk-light`);
  await movesByKeys(desk.page);
  await movesByMouse(desk.page);
  await turnsAround(desk.page);
  const words = await readable(desk.page, "light");
  await printed(desk.page, name);
  assert.deepEqual(desk.complaints, [], "the page asks for nothing and the console is silent");
  await desk.close();

  for (const [size, label, scheme] of [[DESK, "desk", "dark"], [TABLET, "tablet", "light"], [PHONE, "phone", "light"], [PHONE, "phone", "dark"]]) {
    const { page, complaints, close } = await opened(size, scheme, label !== "desk" ? { hasTouch: true, isMobile: true, deviceScaleFactor: 2 } : {});
    await readable(page, scheme);
    if (label !== "desk") {
      await fitsTheScreen(page);
      await movesByTouch(page);
    }
    await kept(page, `${name}-${label}-${scheme}`);
    assert.deepEqual(complaints, [], `${label}, ${scheme}: the page asks for nothing and the console is silent`);
    await close();
  }

  const plain = await opened(PHONE, "light", { javaScriptEnabled: false });
  await twoPicturesWithoutScript(plain.page, compares);
  await kept(plain.page, `${name}-phone-without-script`);
  await plain.close();
  console.log(`${file}: ${compares} sliders move by keys, mouse and touch; ${words} pieces of text have contrast; nothing is asked for`);
}

function splitOf(page, index) {
  return page.locator(".compare").nth(index).evaluate((compare) => {
    const clip = getComputedStyle(compare.querySelector(".before")).clipPath;
    const box = compare.querySelector(".stage").getBoundingClientRect();
    // inset(top right bottom left); the right one is a share of the width, computed or not.
    const right = clip.match(/inset\(0px (.+?) 0px 0px\)|inset\(0px (.+?) 0px\)|inset\(0px (.+?)\)/)?.slice(1).find(Boolean);
    const share = right?.match(/([\d.]+)%/)?.[1] ?? (100 * parseFloat(right)) / box.width;
    return { clip, split: 100 - Number(share) };
  });
}

function near(got, wanted, what) {
  assert.ok(Math.abs(got.split - wanted) <= 1.5, `${what}: ${got.clip}, not ${wanted} %`);
}

async function everyPictureIsThere(page) {
  const broken = await page.evaluate(async () => {
    await Promise.all([...document.images].map((image) => image.decode().catch(() => {})));
    return [...document.images].filter((image) => image.naturalWidth === 0 || !image.alt).map((image) => image.alt || image.src.slice(0, 60));
  });
  assert.deepEqual(broken, [], "every picture is drawn and described");
  const count = await page.locator(".compare").count();
  assert.ok(count > 0, "there is something to compare");
  assert.equal(await page.locator(".compare input[type=range]").count(), count, "each has its slider");
  assert.equal(await page.locator("html").getAttribute("lang"), "en");
  assert.equal(await page.locator("h1").count(), 1, "one heading for the whole");
  const lost = await page.evaluate(() => [...document.querySelectorAll('a[href^="#"]')].filter((a) => !document.getElementById(a.hash.slice(1))).map((a) => a.hash));
  assert.deepEqual(lost, [], "every link leads somewhere");
  const twice = await page.evaluate(() => {
    const ids = [...document.querySelectorAll("[id]")].map((element) => element.id);
    return ids.filter((id, i) => ids.indexOf(id) !== i);
  });
  assert.deepEqual(twice, [], "no id is given twice");
  return count;
}

async function movesByKeys(page) {
  const range = page.locator(".compare input[type=range]").first();
  assert.ok((await range.getAttribute("aria-label"))?.length > 0, "the slider has a name");
  near(await splitOf(page, 0), 50, "at first");
  await range.focus();
  for (let i = 0; i < 5; i++) await page.keyboard.press("ArrowRight");
  near(await splitOf(page, 0), 55, "five steps to the right");
  assert.match((await range.getAttribute("aria-valuetext")) ?? "", /55 % before/);
  await page.keyboard.press("Home");
  near(await splitOf(page, 0), 0, "Home");
  await page.keyboard.press("End");
  near(await splitOf(page, 0), 100, "End");
}

async function movesByMouse(page) {
  const last = (await page.locator(".compare").count()) - 1;
  const stage = page.locator(".compare .stage").nth(last);
  await stage.scrollIntoViewIfNeeded();
  const box = await stage.boundingBox();
  const y = box.y + box.height / 2;
  await page.mouse.move(box.x + 0.25 * box.width, y);
  await page.mouse.down();
  near(await splitOf(page, last), 25, "pressed at a quarter");
  await page.mouse.move(box.x + 0.7 * box.width, y, { steps: 4 });
  near(await splitOf(page, last), 70, "dragged to seven tenths");
  await page.mouse.up();
  await page.mouse.move(box.x + 0.1 * box.width, y);
  near(await splitOf(page, last), 70, "let go");
  const value = await page.locator(".compare input[type=range]").nth(last).inputValue();
  assert.ok(Math.abs(Number(value) - 70) <= 1, `the slider below follows: ${value}`);
  await page.locator(".compare").nth(last).getByRole("button").first().click();
  near(await splitOf(page, last), 100, "the button for all before");
}

async function movesByTouch(page) {
  const stage = page.locator(".compare .stage").first();
  await stage.scrollIntoViewIfNeeded();
  const box = await stage.boundingBox();
  await page.touchscreen.tap(box.x + 0.3 * box.width, box.y + box.height / 2);
  near(await splitOf(page, 0), 30, "tapped");
}

async function turnsAround(page) {
  const tabs = page.getByRole("tab");
  const count = await tabs.count();
  if (count === 0) return;
  const shown = () => page.locator(".view:visible").count();
  assert.equal(await shown(), 1, "one side at a time");
  await tabs.first().focus();
  await page.keyboard.press("ArrowRight");
  assert.equal(await tabs.nth(1).getAttribute("aria-selected"), "true", "the arrow turns the garment");
  assert.ok(await page.locator(".view").nth(1).isVisible(), "and shows that side");
  await tabs.first().click();
  assert.ok(await page.locator(".view").first().isVisible(), "and back");
  assert.equal(await shown(), 1, "one side at a time");
}

// WCAG 2.2, success criterion 1.4.3: 4.5 to 1, or 3 to 1 for large text; relative luminance as its definition has it.
async function readable(page, scheme) {
  const { poor, small, seen } = await page.evaluate(() => {
    const parsed = (text) => {
      const [r, g, b, a = 1] = text.match(/[\d.]+/g).map(Number);
      return { rgb: [r, g, b], a };
    };
    const luminance = (rgb) => {
      const [r, g, b] = rgb.map((code) => (code / 255 <= 0.04045 ? code / 255 / 12.92 : ((code / 255 + 0.055) / 1.055) ** 2.4));
      return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const backdrop = (element) => {
      for (let at = element; at; at = at.parentElement) {
        const { rgb, a } = parsed(getComputedStyle(at).backgroundColor);
        if (a === 1) return rgb;
      }
      return [255, 255, 255];
    };
    const poor = [];
    const small = [];
    let seen = 0;
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
      const element = walker.currentNode.parentElement;
      const text = walker.currentNode.textContent.trim();
      if (!text || ["SCRIPT", "STYLE"].includes(element.tagName) || !element.checkVisibility()) continue;
      seen++;
      const style = getComputedStyle(element);
      const [one, other] = [luminance(parsed(style.color).rgb), luminance(backdrop(element))].sort((a, b) => b - a);
      const ratio = (one + 0.05) / (other + 0.05);
      const size = parseFloat(style.fontSize);
      const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
      if (ratio < (large ? 3 : 4.5)) poor.push(`${ratio.toFixed(2)}: ${text.slice(0, 40)}`);
      if (size < 16) small.push(`${size} px: ${text.slice(0, 40)}`);
    }
    return { poor, small, seen };
  });
  assert.ok(seen > 20, "there is text");
  assert.deepEqual(poor, [], `${scheme}: text has contrast`);
  assert.deepEqual(small, [], `${scheme}: text is 16 px or more`);
  return seen;
}

async function fitsTheScreen(page) {
  const { wide, out } = await page.evaluate(() => {
    const width = document.documentElement.clientWidth;
    const out = [...document.querySelectorAll("body *")].filter((element) => {
      const box = element.getBoundingClientRect();
      return box.width > 0 && getComputedStyle(element).clipPath === "none" && (box.right > width + 0.5 || box.left < -0.5);
    });
    return { wide: document.documentElement.scrollWidth - width, out: out.map((element) => `${element.tagName} ${element.className}`) };
  });
  assert.equal(wide, 0, `nothing scrolls sideways: ${out.slice(0, 5)}`);
  assert.deepEqual(out, [], "nothing sticks out");
  const low = await page.evaluate(() => [...document.querySelectorAll("button, input")].filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 44).map((e) => e.outerHTML.slice(0, 60)));
  assert.deepEqual(low, [], "what is touched is as large as a fingertip");
}

async function twoPicturesWithoutScript(page, compares) {
  const boxes = await page.locator(".compare").first().evaluate((compare) => [...compare.querySelectorAll("img")].map((image) => image.getBoundingClientRect().toJSON()));
  assert.equal(boxes.length, 2, "two pictures");
  assert.ok(boxes[0].bottom <= boxes[1].top || boxes[0].right <= boxes[1].left, "neither lies over the other");
  assert.equal(await page.locator(".compare img:visible").count(), 2 * compares, "none is hidden");
  assert.equal(await page.locator("input").count(), 0, "no slider that does nothing");
}

async function printed(page, name) {
  await page.emulateMedia({ media: "print" });
  const print = await page.evaluate(() => {
    const compare = document.querySelector(".compare");
    const boxes = [...compare.querySelectorAll("img")].map((image) => image.getBoundingClientRect());
    return {
      beside: boxes[0].right <= boxes[1].left && Math.abs(boxes[0].top - boxes[1].top) < 1,
      clip: getComputedStyle(compare.querySelector(".before")).clipPath,
      controls: [...document.querySelectorAll(".control, .tabs, .line")].filter((e) => e.checkVisibility()).length,
      views: [...document.querySelectorAll(".view")].every((view) => view.checkVisibility()),
      sign: document.querySelector(".sign").checkVisibility(),
    };
  });
  assert.deepEqual(print, { beside: true, clip: "none", controls: 0, views: true, sign: true }, "on paper two pictures stand side by side");
  const pdf = await page.pdf({ format: "A4", printBackground: false, preferCSSPageSize: true });
  assert.ok(pdf.subarray(0, 5).toString() === "%PDF-" && pdf.length > 20_000, "it prints");
  if (shots) await writeFile(join(shots, `${name}-print.pdf`), pdf);
  await page.emulateMedia({ media: null });
}

async function kept(page, name) {
  if (shots) await page.screenshot({ path: join(shots, `${name}.png`), fullPage: true });
}
