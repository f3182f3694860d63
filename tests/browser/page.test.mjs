// page.test.mjs: the page as people use it, on a running tipplaned (TIPPLANE_URL) with at least one measured wafer.
import assert from "node:assert/strict";
import { execSync } from "node:child_process";
import { after, before, test } from "node:test";
import { BASE, makeLink, newestRun, settled, startBrowser, violations } from "./harness.mjs";
import { contrast, readDie, seenBy, SIGHTS } from "./pixels.mjs";

let browser, run, map;
before(async () => {
        browser = await startBrowser();
        ({ run, map } = await newestRun());
});
after(() => browser?.stop());

const journey = (name, options, steps) => test(name, { timeout: 120000 }, async () => {
        const { hash = "", url = BASE, ...rest } = options;
        const opened = await browser.open(`${url}/${hash}`, rest);
        try {
                await steps(opened.page, opened);
                assert.deepEqual(opened.wrong, [], "nothing goes wrong on the page itself");
        } finally {
                await opened.close();
        }
});
const key = (die) => `${die.x},${die.y}`;
const text = (page, at) => page.locator(at).textContent();

/* ---- invented wafer: every verdict with every trust on every step of the ramp; only here, never in the product ------------------------------------------------ */

const OUTCOMES = [["measured", "pass"], ["measured", "fail"], ["measured", "marginal"], ["no_contact", "none"], ["waits", "none"], ["doubtful", "none"], ["skipped", "none"]];
const TRUSTS = ["proven", "suspect", "open", "rescued", "unknown"];
const MARK_OF = (outcome, verdict) => outcome === "no_contact" ? "ring" : !["measured", "doubtful"].includes(outcome) ? "dot" : verdict === "fail" ? "bar" : verdict === "marginal" ? "half" : "nothing";

function inventWafer() {
        const dies = [], parameters = [];
        for (let i = 0; i < 245; i++) {
                const [outcome, verdict] = OUTCOMES[i % 7], trust = TRUSTS[Math.floor(i / 7) % 5], step = Math.floor(i / 35);
                const x = i % 16 - 8, y = Math.floor(i / 16) - 8;
                dies.push({ x, y, waits: 0, no_contact: 0, verdict, trust, devices: [{ name: "L1", outcome, verdict, trust, sweep: 1 }] });
                if (outcome === "measured" || outcome === "doubtful")
                        parameters.push({ die: { x, y }, device: "L1", quantity: "L_10GHz", unit: "H", freq_hz: 1e10, value: (100 + step * 10 + 5) * 1e-12, u95: 1e-12, verdict, reason: null, trust, trust_reason: null,
                                contact: "good", plane: "device", attempt: 1, touchdown: i + 1, sweep: 1, budget: null });
        }
        return { dies, parameters };
}
const serve = (what) => async (page) => {
        const json = (body) => ({ status: 200, contentType: "application/json", body: JSON.stringify(body) });
        await page.route(/\/map$/, (r) => r.fulfill(json({ run: run.id, wafer: what.wafer ?? "INVENTED", diameter_mm: what.diameter_mm ?? 300, notch_deg: 270, pitch_x_um: 13000, pitch_y_um: 13000, offset_x_um: 6500, offset_y_um: 6500, dies: what.dies })));
        await page.route(/parameters\.json/, (r) => r.fulfill(json({ parameters: what.parameters })));
        await page.route(/\/devices$/, (r) => r.fulfill(json({ devices: [{ name: "L1", kind: "inductor", x_um: 0, y_um: 0, deembed: "none", dummy: false, conditions: [],
                parameters: [{ name: "L_10GHz", quantity: "L", unit: "H", freq_hz: 1e10, low: null, high: null }] }] })));
};

/** The picture of the wafer and where its dies lie in it. */
async function picture(page) {
        const svg = page.locator("svg.wafer");
        await svg.scrollIntoViewIfNeeded();
        await page.evaluate(() => { document.activeElement?.blur?.(); });
        const at = await svg.boundingBox();
        const corner = { x: Math.floor(at.x), y: Math.floor(at.y) }; // whole pixels, or the picture is resampled
        const png = await page.screenshot({ clip: { ...corner, width: Math.ceil(at.width) + 1, height: Math.ceil(at.height) + 1 } });
        const scale = await page.evaluate(() => devicePixelRatio);
        const boxes = await page.evaluate(() => Array.from(document.querySelectorAll(".die"), (die) => {
                const b = die.querySelector(".fill").getBoundingClientRect(), s = document.querySelector("svg.wafer").getBoundingClientRect();
                return { key: die.dataset.die, x: b.x - s.x, y: b.y - s.y, w: b.width, h: b.height };
        }));
        const off = { x: at.x - corner.x, y: at.y - corner.y };
        const raw = await page.evaluate(async (base64) => {
                const bytes = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
                const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/png" }));
                const canvas = new OffscreenCanvas(bitmap.width, bitmap.height), on = canvas.getContext("2d");
                on.drawImage(bitmap, 0, 0);
                const { data } = on.getImageData(0, 0, bitmap.width, bitmap.height);
                let out = "";
                for (let i = 0; i < data.length; i += 32768)
                        out += String.fromCharCode(...data.subarray(i, i + 32768));
                return { width: bitmap.width, height: bitmap.height, data: btoa(out) };
        }, png.toString("base64"));
        return { image: { width: raw.width, height: raw.height, rgba: Buffer.from(raw.data, "base64") },
                boxes: boxes.map((b) => ({ key: b.key, x: (b.x + off.x) * scale, y: (b.y + off.y) * scale, w: b.w * scale, h: b.h * scale })) };
}

function recover({ image, boxes }, sight) {
        const seen = seenBy(sight, image);
        return new Map(boxes.map((b) => [b.key, readDie(seen, b)]));
}

async function readAll(page, expected) {
        const shot = await picture(page);
        assert.equal(shot.boxes.length, expected.size, "each die is drawn once");
        for (const sight of SIGHTS) {
                const wrong = [];
                for (const [k, got] of recover(shot, sight)) {
                        const want = expected.get(k);
                        if (got.mark !== want.mark || got.border !== want.border)
                                wrong.push(`${k}: drawn ${want.mark}/${want.border}, read ${got.mark}/${got.border}`);
                }
                assert.deepEqual(wrong, [], `${sight}: every verdict and trust is read back`);
        }
        return shot;
}

for (const colorScheme of ["light", "dark"]) {
        for (const [size, diameter_mm, width] of [["large dies", 200, 1440], ["small dies", 300, 1440], ["small dies off the pixel grid", 300, 1391], ["phone", 200, 390]]) {
                const wafer = { ...inventWafer(), diameter_mm };
                journey(`verdict and trust survive grey and three colour-vision deficiencies, ${colorScheme}, ${size}`, { colorScheme, viewport: { width, height: 1300 }, deviceScaleFactor: width < 500 ? 2 : 1, before: (page) => serve(wafer)(page) }, async (page) => {
                        await settled(page);
                        await page.waitForFunction(() => document.querySelector(".die .step0") && document.querySelector(".die .step6"));
                        await unpick(page);
                        const expected = new Map(wafer.dies.map((d) => [key(d), { mark: MARK_OF(d.devices[0].outcome, d.devices[0].verdict), border: d.trust }]));
                        const shot = await readAll(page, expected);
                        // control: the same reading against the trusts of other dies must fail, or the reader sees what it wants to see
                        const moved = wafer.dies.map((d, i) => [key(d), wafer.dies[(i + 7) % wafer.dies.length].trust]);
                        const read = recover(shot, "grey");
                        const agree = moved.filter(([k, trust]) => read.get(k).border === trust).length / moved.length;
                        assert.ok(agree < 0.3, `control: shifted trusts agree in ${Math.round(agree * 100)} % of the dies`);
                });
        }
        const wafer = { ...inventWafer(), diameter_mm: 200 };
        journey(`marks, borders and numbers stand out from each of the seven steps, ${colorScheme}`, { colorScheme, before: (page) => serve(wafer)(page) }, async (page) => {
                await settled(page);
                await page.waitForFunction(() => document.querySelector(".die .step6") && document.querySelector(".die .mark"));
                const colours = await page.evaluate(() => {
                        const of = (at, what) => getComputedStyle(document.querySelector(at))[what];
                        return { steps: [0, 1, 2, 3, 4, 5, 6].map((i) => of(`.legend .step${i}`, "fill")), none: of(".legend .fill.none", "fill"), mark: of(".die .mark", "fill"), ring: of(".legend .ring", "stroke"),
                                border: of(".legend .border.proven", "stroke"), value: of(".die .value", "fill") };
                });
                const light = (css) => { const [r, g, b] = css.match(/[\d.]+/g).map(Number).map((v) => v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4); return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
                const ramp = colours.steps.map(light), turn = colorScheme === "light" ? -1 : 1;
                for (let i = 1; i < 7; i++)
                        assert.ok((ramp[i] - ramp[i - 1]) * turn > 0.004, `step ${i} differs from step ${i - 1} in grey`);
                for (const ground of [...ramp, light(colours.none)]) {
                        for (const what of ["mark", "ring", "border"])
                                assert.ok(contrast(light(colours[what]), ground) >= 3, `${what} has 3:1`);
                        assert.ok(contrast(light(colours.value), ground) >= 4.5, "numbers have 4.5:1");
                }
        });
}

/* Joints as a run's file has them; the second one beyond what is allowed, the third of a file that does not say the methods or an uncertainty. */
const JOINED = [{ id: "C2", number: 2, method: "joined", plane: "tip", state: "accepted", z_ref_ohm: 50, domain: { from_hz: 7e4, to_hz: 2.2e11 }, diagnosis: { bands: [
        { method: "unknown_thru", from_hz: 7e4, to_hz: 4e9 }, { method: "multiline_trl", from_hz: 3e8, to_hz: 4e10 }, { method: "lrrm", from_hz: 3e10, to_hz: 1e11 }, { method: "trl", from_hz: 9e10, to_hz: 2.2e11 }], joints: [
        { below: "unknown_thru", above: "multiline_trl", from_hz: 3e8, to_hz: 4e9, points: 20, kink: 0.00312, kink_hz: 1.2e9, kink_u: 0.003023, kink_allowed: 0.0074, share_of_allowed: 0.42, cross_hz: null, beyond: false, sentence: "" },
        { below: "multiline_trl", above: "lrrm", from_hz: 3e10, to_hz: 4e10, points: 9, kink: 0.051, kink_hz: 3.1e10, kink_u: 0.0041, kink_allowed: 0.01, share_of_allowed: 3.4, cross_hz: null, beyond: true, sentence: "they differ: a definition, a length or a touch is wrong" },
        { from_hz: 9e10, to_hz: 1e11, points: 5, kink: 0.02, kink_hz: 9.5e10, kink_u: null, share_of_allowed: null, cross_hz: null, beyond: false, sentence: "" }] } },
{ id: "C1", number: 1, method: "solt", plane: "tip", state: "refused", z_ref_ohm: 50, domain: { from_hz: 7e4, to_hz: 2.2e11 }, diagnosis: {} }];

for (const [colorScheme, width] of [["light", 1440], ["dark", 390]])
        journey(`the kink at each join of a calibration is told and drawn, a warning where it is beyond, ${colorScheme}, ${width} px`, { colorScheme, viewport: { width, height: 1300 }, before: (page) =>
                page.route(/\/calibrations$/, (r) => r.fulfill({ status: 200, contentType: "application/json", body: JSON.stringify({ calibrations: [...JOINED].reverse() }) })) }, async (page) => {
                await settled(page);
                await page.waitForSelector("#calibration .kink");
                assert.deepEqual(await page.locator("#calibration h3").allTextContents(), ["Number 2, joined, accepted, 70\u00a0kHz to 220\u00a0GHz", "Number 1, solt, refused, 70\u00a0kHz to 220\u00a0GHz"]);
                const lines = (await page.locator("#calibration .story > li").evaluateAll((all) => all.map((li) => li.firstChild.textContent))).map((one) => one.replaceAll("\u00a0", " "));
                assert.deepEqual(lines, ["Join 300 MHz to 4 GHz, unknown_thru below, multiline_trl above: kink 0.0031 at 1.2 GHz, where 0.0074 is allowed; over the join 0.42 of what both uncertainties allow.",
                        "Join 30 GHz to 40 GHz, multiline_trl below, lrrm above: kink 0.051 at 31 GHz, where 0.01 is allowed; over the join 3.4 of what both uncertainties allow.",
                        "Join 90 GHz to 100 GHz, lrrm below, trl above: kink 0.02 at 95 GHz; no uncertainty is stated that it could be held against."].map((one) => one.replaceAll("\u00a0", " ")));
                assert.deepEqual(await page.locator("#calibration .alarm").allTextContents(), ["Beyond what is allowed: they differ: a definition, a length or a touch is wrong."]);
                /* the pins: at their frequency along the logarithmic axis, as high as their share; the one beyond lies above the dashes */
                const drawn = await page.evaluate(() => { const svg = document.querySelector("#calibration svg"), of = (one, name) => Number(one.getAttribute(name));
                        return { width: of(svg, "width") - 6, dashes: of(svg.querySelector(".allowed"), "y1"), pins: Array.from(svg.querySelectorAll(".kink"), (g) => ({ x: of(g.querySelector("circle"), "cx"), y: of(g.querySelector("circle"), "cy"), beyond: g.classList.contains("beyond") })) }; });
                assert.equal(await page.locator("#calibration svg text", { hasText: "?" }).count(), 1, "what is not known is no zero");
                for (const [k, f] of [1.2e9, 3.1e10].entries())
                        assert.ok(Math.abs(drawn.pins[k].x - Math.log(f / 7e4) / Math.log(2.2e11 / 7e4) * drawn.width) < 0.01, `pin ${k} stands at its frequency`);
                assert.deepEqual(drawn.pins.map((p) => [p.y < drawn.dashes, p.beyond]), [[false, false], [true, true]]);
                assert.deepEqual(await violations(page), []);
        });

/* Two loads as a run's file has them, one of a standard that was swept in another run. */
const TRIMMED = [{ id: "C1", number: 1, method: "unknown_thru", plane: "tip", state: "accepted", z_ref_ohm: 50, domain: { from_hz: 7e4, to_hz: 2.2e11 }, diagnosis: { loads: [
        { standard: "LOAD_A", copy: "LOAD_A", port: 1, ohm: 50.3012, u_ohm: 0.01, short_ohm: 0.0105, stated_ohm: 50, tolerance_ohm: 5 },
        { standard: "LOAD_B", copy: "CS1-7", port: 2, ohm: 49.87, u_ohm: 0.01, short_ohm: 0.012, stated_ohm: 50, tolerance_ohm: 0.5 }] },
standards: [{ standard: "OPEN_AIR", copy: null, sweep: 38, touchdown: null, swept: "2026-03-01T02:00:00Z" }, { standard: "LOAD_A", copy: "LOAD_A", sweep: 52, touchdown: 50, swept: "2026-03-01T02:08:00Z" },
        { standard: "LOAD_B", copy: "CS1-7", sweep: null, touchdown: null, swept: null }] }];

journey("loads that the DC meter read stand with the calibration: ohm, what was stated, when", { timezoneId: "UTC", before: (page) =>
        page.route(/\/calibrations$/, (r) => r.fulfill({ status: 200, contentType: "application/json", body: JSON.stringify({ calibrations: TRIMMED }) })) }, async (page) => {
        await settled(page);
        await page.waitForSelector("#calibration table.loads");
        const rows = await page.locator("#calibration .loads tbody tr").evaluateAll((all) => all.map((tr) => Array.from(tr.children).map((cell) => cell.textContent.replaceAll("\u00a0", " "))));
        assert.deepEqual(rows, [["LOAD_A", "1", "50.301 ± 0.020 Ω", "50 ± 5 Ω", "11 mΩ", "1 Mar, 02:08"], ["LOAD_B (CS1-7)", "2", "49.870 ± 0.020 Ω", "50 ± 0.5 Ω", "12 mΩ", "in another run"]]);
        assert.deepEqual(await violations(page), []);
        await page.unroute(/\/calibrations$/);
        await page.reload();
        await settled(page);
        await page.waitForSelector("#calibration h3");
        assert.equal(await page.locator("#calibration .loads").count(), 0, "this night's loads are as the recipe states them");
});

journey("a rescue that the run offers is told with its numbers and can be taken; without one nothing is said", { before: (page) => page.route(/\/evaluations$/, (r) => r.fulfill({ status: 200, contentType: "application/json", body: JSON.stringify({
        evaluations: [], offer: { id: "O", offered: "2026-03-01T04:10:00Z", entry: 510, suspects: 18, devices: 16, values: 24, build: "b", spec: { by: "rescue", intervals: [{ interval: 1, before: 1, after: 2, sentence: "port 2 moved by 74 fs" },
                { interval: 3, before: 2, after: 0, why_not: "no calibration was accepted after it" }] } } }) })) }, async (page) => {
        await settled(page);
        await page.waitForSelector("#account .offer");
        assert.match(await text(page, "#account .offer"), /^24 values of 16 of 18 suspects could be corrected between two calibrations; offered .+, not granted by the mandate\. Interval 1, between calibrations 1 and 2: port 2 moved by 74 fs\. Interval 3, not: no calibration was accepted after it\. Take it, CSV$/);
        assert.equal(await page.locator("#account .offer a").getAttribute("href"), `api/v1/runs/${run.id}/rescue.csv`);
        assert.deepEqual(await violations(page), []);
        await page.unroute(/\/evaluations$/);
        await page.reload();
        await settled(page);
        await page.waitForSelector("#account dl dd");
        const real = (await (await fetch(`${BASE}/api/v1/runs/${run.id}/evaluations`)).json()).offer;
        assert.equal(await page.locator("#account .offer").count(), real ? 1 : 0, "as the daemon says of this night");
});

/** One die may lie open by itself; its halo is laid aside for the reading of pixels by picking none. */
async function unpick(page) {
        await page.evaluate(() => document.querySelectorAll(".die.picked").forEach((die) => die.classList.remove("picked")));
}

journey("the daemon's own wafer is read back from its picture", {}, async (page) => {
        await settled(page);
        await page.selectOption("#shown", "");
        await page.waitForTimeout(600);
        await unpick(page);
        const now = await (await fetch(`${BASE}/api/v1/runs/${run.id}/map`)).json();
        const want = new Map(now.dies.map((d) => {
                const left = d.devices.filter((one) => ["waits", "unknown"].includes(one.outcome)).length;
                const outcome = left === d.devices.length ? "waits" : d.no_contact > 0 ? "no_contact" : left > 0 ? "waits" : "measured";
                return [key(d), { mark: MARK_OF(outcome, d.verdict), border: left === d.devices.length ? "unknown" : d.trust }];
        }));
        if (!run.in_hand)
                await readAll(page, want);
});

/* ---- journeys -------------------------------------------------------------------------------------------------------------------------------------------------- */

journey("one sentence on top is the daemon's own", {}, async (page) => {
        await settled(page);
        const progress = (await (await fetch(`${BASE}/api/v1/runs/${run.id}`)).json()).progress;
        if (!run.in_hand && progress)
                assert.equal(await text(page, "#sentence"), progress.sentence);
        assert.ok((await text(page, "#sentence")).length > 10);
});

journey("by mouse: a die opens its curve, values, contact story and files", {}, async (page) => {
        await settled(page);
        const die = map.dies.find((d) => d.devices.some((one) => one.sweep));
        await page.locator(`[data-die="${key(die)}"]`).first().click();
        await page.waitForFunction((k) => location.hash.includes(`die=${k}`), key(die));
        await page.waitForSelector(".plot canvas");
        await page.waitForFunction(() => document.querySelector(".under")?.textContent.includes("other die"));
        assert.match(await text(page, "#device-title"), new RegExp(`^Die ${die.x}, ${die.y}`.replaceAll("-", "−")));
        assert.match(await text(page, ".story"), /Attempt 1: contact/);
        const links = await page.locator(".chain a").evaluateAll((all) => all.map((a) => a.href));
        assert.ok(links.length >= 8, "raw traces, corrected network, calibration, values");
        for (const link of links) {
                const answer = await fetch(link);
                assert.equal(answer.status, 200, link);
                if (link.includes(".s2p"))
                        assert.match(await answer.text(), /^#\s+hz\s+s\s+ri\s+r/im, "a Touchstone file");
        }
});

journey("a value says its largest causes and whose they are; one that an older build stored, that nobody knows", {}, async (page) => {
        await settled(page);
        const { parameters } = await (await fetch(`${BASE}/api/v1/runs/${run.id}/parameters.json`)).json();
        const p = parameters.find((one) => one.value !== null && Object.keys(one.budget.touch ?? {}).length && one.attempt === 1);
        const words = async (answer) => {
                await page.route(/parameters\.json/, (r) => r.fulfill({ status: 200, contentType: "application/json", body: JSON.stringify({ parameters: [answer] }) }));
                await page.goto("about:blank");
                await page.goto(`${BASE}/#run=${run.id}&die=${key(p.die)}&device=${p.device}`);
                await page.waitForSelector("#device table td.quiet:last-child");
                const said = await text(page, "#device table td.quiet:last-child");
                await page.unroute(/parameters\.json/);
                return said.replaceAll("\u00a0", " ");
        };
        const said = await words(p);
        assert.ok(said.includes(`(its touches ${Math.round(p.budget.scopes.touch)} %, noise ${Math.round(p.budget.scopes.reading)} %, shared by all dies ${Math.round(p.budget.scopes.shared)} %)`), said);
        assert.ok(said.includes(Object.keys(p.budget.touch)[0]), said);
        assert.equal(await words({ ...p, budget: { "contact L": 24, "load R": 76, temperature: null } }), "load R 76 %, contact L 24 % (an older build, which did not store whose they are)");
});

journey("a verdict says how sure it is: the probability to lie within the limits, and the guard band", {}, async (page) => {
        await settled(page);
        const { parameters } = await (await fetch(`${BASE}/api/v1/runs/${run.id}/parameters.json`)).json();
        const p = parameters.find((one) => one.guard_band > 0 && one.unit === "H" && one.attempt === 1);
        const words = async (answer) => {
                await page.route(/parameters\.json/, (r) => r.fulfill({ status: 200, contentType: "application/json", body: JSON.stringify({ parameters: [answer] }) }));
                await page.goto("about:blank");
                await page.goto(`${BASE}/#run=${run.id}&die=${key(p.die)}&device=${p.device}`);
                await page.waitForSelector("#device table .verdict-word");
                const said = await page.locator("#device table .sure").allTextContents();
                await page.unroute(/parameters\.json/);
                return plain(said.join(" | "));
        };
        assert.equal(await words({ ...p, conformance: 0.97999, guard_band: 1.645e-12 }), "within limits with probability 0.9799; guard band 1.6 pH");
        assert.equal(await words({ ...p, conformance: 0.9999999, guard_band: 0 }), "within limits with probability more than 0.9999; decided by the value alone");
        assert.equal(await words({ ...p, conformance: 2.3e-200, guard_band: null }), "within limits with probability less than 1e-6; no value could pass with this U95");
        assert.equal(await words({ ...p, conformance: null, guard_band: null }), "");
        assert.ok(p.conformance > 0 && p.conformance <= 1 && (p.verdict !== "pass" || p.conformance >= 0.95), JSON.stringify(p));
});

const plain = (words) => words.replaceAll("\u00a0", " ").replaceAll("−", "-");

journey("the yield's table has the daemon's numbers", {}, async (page) => {
        await settled(page);
        await page.waitForSelector("#yield tbody th");
        const y = await (await fetch(`${BASE}/api/v1/runs/${run.id}/yield`)).json();
        const rows = (await page.locator("#yield tbody tr").evaluateAll((all) => all.map((tr) => Array.from(tr.children).map((cell) => cell.textContent)))).map((cells) => cells.map(plain));
        assert.equal(rows.length, 1 + y.quantities.length);
        const shares = (of) => [`${of.good} of ${of.n}`, `${(100 * of.share).toFixed(1)} %`, `${(100 * of.wilson[0]).toFixed(1)} to ${(100 * of.wilson[1]).toFixed(1)} %`, `${of.good_at_first_touch}`];
        assert.ok(y.dies.n > 0);
        assert.deepEqual(rows[0].slice(0, 5), ["dies", ...shares(y.dies)]);
        const q = y.quantities.findIndex((one) => one.ppk !== null && one.n > 0), row = rows[1 + q];
        assert.ok(q >= 0, "a number of this wafer has a Ppk");
        assert.deepEqual(row.slice(0, 5), [`${y.quantities[q].device} ${y.quantities[q].label.replaceAll("_", " at ")}`, ...shares(y.quantities[q])]);
        assert.ok(row[8].startsWith(`${y.quantities[q].ppk.toFixed(2)} (${y.quantities[q].ppk_interval[0].toFixed(2)} to `), row[8]);
        assert.match(plain(await text(page, "#yield p")), new RegExp(`^Of this wafer alone: .+ ${y.dies.n} dies have a verdict`));
        assert.deepEqual(await violations(page), []);
});

journey("a yield without limits, values or knowledge of measuring says so", { before: (page) => page.route(/\/yield$/, (r) => {
        const none = { good: 0, n: 0, share: null, wilson: [null, null], exact: [null, null], good_at_first_touch: 0, marginal: 0, fail: 0, suspect: 0, no_verdict: 0, no_contact: 2, not_measured: 1 };
        const one = { ...none, device: "R1", quantity: "R", condition: 0, label: "R", unit: "ohm", low: null, high: null, values: 0, measuring_known: true, mean: null, s: null, s_without_measuring: null, median: null,
                quartiles: [null, null], s_robust: null, pp: null, hidden_by_measuring: false, ppk: null, ppk_interval: [null, null], outliers: [] };
        const full = { ...one, quantity: "C", label: "C", low: 1, values: 12, median: 75, quartiles: [74, 76], s_robust: 1.2, outliers: [{ x: -1, y: 2, value: 90 }] };
        return r.fulfill({ status: 200, contentType: "application/json", body: JSON.stringify({ run: run.id, wafer: "W", cover: 0.95, dies: none, notes: ["an older build made it"], quantities: [one, { ...full, hidden_by_measuring: true },
                { ...full, measuring_known: false, ppk: 1.5, ppk_interval: [0.8, 2.1] }] }) }); }) }, async (page) => {
        await settled(page);
        await page.waitForSelector("#yield tbody th");
        const rows = (await page.locator("#yield tbody tr").evaluateAll((all) => all.map((tr) => Array.from(tr.children).map((cell) => cell.textContent)))).map((cells) => cells.map(plain));
        assert.deepEqual(rows, [["dies", "no verdict", ""], ["R", "no limit", "no value"], ["C", "no verdict", "75.00 Ω", "74.00 Ω to 76.00 Ω", "1.2 Ω", "hidden by measuring", "-1, 2"],
                ["C", "no verdict", "75.00 Ω", "74.00 Ω to 76.00 Ω", "1.2 Ω", "1.50 (0.80 to 2.10) *", "-1, 2"]]);
        assert.deepEqual((await page.locator("#yield p").allTextContents()).map(plain), ["Of this wafer alone: its dies are not independent, so the truth may lie further out. 0 dies have a verdict; 2 without contact, 1 not measured. Marginal is not good.",
                "* an older build made it"]);
        assert.deepEqual(await violations(page), []);
});

journey("by keyboard: walk, hear, pick, table", {}, async (page) => {
        await settled(page);
        await page.locator('.die[tabindex="0"]').focus();
        const first = await page.evaluate(() => document.activeElement.dataset.die);
        const steps = new Set([first]);
        for (const press of ["ArrowRight", "ArrowDown", "ArrowRight", "ArrowDown", "End", "Home", "PageDown"]) {
                await page.keyboard.press(press);
                steps.add(await page.evaluate(() => document.activeElement.dataset.die));
                assert.match(await text(page, "#spoken"), /^Die .*Verdict .*trust /, "each step speaks a sentence");
        }
        assert.ok(steps.size >= 4, "the walk goes over the wafer");
        assert.equal(await page.locator('.die[tabindex="0"]').count(), 1, "one die takes the focus");
        const here = await page.evaluate(() => document.activeElement.dataset.die);
        await page.keyboard.press("Enter");
        await page.waitForFunction((k) => location.hash.includes(`die=${k}`), here);
        await page.keyboard.press("t");
        const rows = page.locator("#table tbody tr");
        assert.equal(await rows.count(), map.dies.length, "the table has a row for each die");
        assert.equal(await page.locator("#map").isVisible(), false);
        await page.locator("#table button").first().focus();
        await page.keyboard.press("Enter");
        assert.equal(await page.locator("#table tr.picked").count(), 1);
        await page.keyboard.press("t");
        assert.equal(await page.locator("#map").isVisible(), true);
});

journey("an address can be mailed: run, die, device and parameter come back", {}, async (page) => {
        await settled(page);
        const die = map.dies.find((d) => d.devices.filter((one) => one.sweep).length > 2);
        const last = die.devices.filter((one) => one.sweep).pop();
        await page.locator(`.die[data-die="${key(die)}"]`).click();
        await page.locator(".chips button", { hasText: last.name }).click();
        await page.waitForFunction((n) => location.hash.includes(`device=${n}`), last.name);
        await page.waitForFunction((n) => document.querySelector("#device-title").textContent.includes(n), last.name);
        const address = page.url(), title = await text(page, "#device-title"), shown = await page.inputValue("#shown");
        const again = await browser.open(address, {});
        try {
                await settled(again.page);
                await again.page.waitForFunction((t) => document.querySelector("#device-title").textContent === t, title);
                assert.equal(await again.page.inputValue("#shown"), shown);
        } finally {
                await again.close();
        }
});

journey("a stretch of the ribbon marks its dies, by keys and by mouse", {}, async (page) => {
        await settled(page);
        await page.waitForSelector(".ribbon .tick.plain", { state: "attached" });
        await page.locator(".brush").focus();
        await page.keyboard.press("ArrowRight");
        assert.match(await page.locator(".brush").getAttribute("aria-valuetext"), /^Interval 1, /);
        assert.ok(await page.locator(".die.aside").count() > 0, "dies outside the interval stand back");
        await page.keyboard.press("Escape");
        assert.equal(await page.locator(".die.aside").count(), 0);
        const box = await page.locator(".brush").boundingBox();
        await page.mouse.move(box.x + box.width * 0.4, box.y + 40);
        await page.mouse.down();
        await page.mouse.move(box.x + box.width * 0.6, box.y + 40);
        await page.mouse.up();
        assert.match(await text(page, "#night-words"), /^Stretch: \d+ touch/);
});

journey("each way to look at a network draws", {}, async (page) => {
        await settled(page);
        const die = map.dies.find((d) => d.devices.some((one) => one.sweep));
        await page.locator(`.die[data-die="${key(die)}"]`).click();
        await page.waitForSelector(".plot canvas");
        const names = await page.locator(".sights button").allTextContents();
        assert.ok(names.length >= 6);
        for (const name of names) {
                await page.locator(".sights button", { hasText: new RegExp(`^${name.replaceAll("|", "\\|")}$`) }).click();
                if (name === "Smith")
                        assert.ok((await page.locator(".smith-s11").getAttribute("d")).length > 100);
                else
                        assert.match(await page.locator(".plot [role=img]").getAttribute("aria-label"), /GHz|kHz|MHz/);
        }
});

journey("a phone's width holds the page without sideways scrolling", { viewport: { width: 390, height: 800 } }, async (page) => {
        await settled(page);
        assert.ok(await page.evaluate(() => document.documentElement.scrollWidth) <= 390);
        assert.ok((await page.locator(".die .fill").first().boundingBox()).width >= 24, "a die can be touched");
});

journey("text from data is text, never markup", { before: (page) => serve({ wafer: "<img src=x onerror=alert(1)>", dies: [{ x: 0, y: 0, waits: 0, no_contact: 0, verdict: "none", trust: "suspect",
        devices: [{ name: "<b>L1</b>", outcome: "measured", verdict: "none", trust: "suspect", reason: "<script>alert(1)</script>" }] }], parameters: [] })(page) }, async (page) => {
        await settled(page);
        await page.keyboard.press("t");
        await page.waitForTimeout(300);
        assert.equal(await page.locator("main img, main script, main b").count(), 0);
});

/* ---- accessibility ----------------------------------------------------------------------------------------------------------------------------------------------- */

for (const [name, options] of [["desk, paper", {}], ["desk, night", { colorScheme: "dark" }], ["phone, paper", { viewport: { width: 390, height: 800 } }], ["phone, night", { viewport: { width: 390, height: 800 }, colorScheme: "dark" }]])
        journey(`axe finds nothing: ${name}`, options, async (page) => {
                await settled(page);
                await page.waitForSelector(".plot canvas");
                assert.deepEqual(await violations(page), []);
                await page.locator("#table-key").click();
                await page.locator("#control summary").click();
                assert.deepEqual(await violations(page), [], "with table and control open");
        });

journey("axe finds nothing when it needs you, and the page says so", { before: (page) => page.route(/\/api\/v1\/station$/, async (route) => {
        const answer = await route.fetch();
        await route.fulfill({ json: { ...await answer.json(), latched: true } });
}) }, async (page) => {
        await settled(page);
        await page.waitForSelector("#needs:not([hidden])");
        assert.match(await text(page, "#needs"), /^Needs you/);
        assert.match(await page.title(), /^Needs you/);
        assert.deepEqual(await violations(page), []);
});

/* ---- the link ------------------------------------------------------------------------------------------------------------------------------------------------------ */

test("with the daemon gone the last state stays and says how old it is; back, it is live again", { timeout: 90000 }, async () => {
        const link = await makeLink();
        const { page, wrong, close } = await browser.open(`${link.url}/`);
        try {
                await settled(page);
                const before = { dies: await page.locator(".die").count(), sentence: await text(page, "#sentence") };
                await link.cut();
                await page.waitForFunction(() => /^last known \d+ s ago/.test(document.querySelector("#link").textContent), null, { timeout: 20000 });
                await page.waitForFunction(() => Number(document.querySelector("#link").textContent.match(/\d+/)[0]) >= 3, null, { timeout: 20000 });
                assert.deepEqual({ dies: await page.locator(".die").count(), sentence: await text(page, "#sentence") }, before);
                await link.mend();
                await page.waitForFunction(() => document.querySelector("#link").textContent === "live", null, { timeout: 20000 });
                const last = link.asked[link.asked.length - 1];
                assert.match(last.last || new URL(last.url, link.url).searchParams.get("last_event_id") || "", /^\d+\.\d+$/, "it came back with the id of the last event");
                assert.deepEqual(wrong, []);
        } finally {
                await close();
                await link.cut();
        }
});

test("after a restart of the daemon the page goes on by itself", { timeout: 90000, skip: process.env.TIPPLANE_RESTART ? false : "TIPPLANE_RESTART (a command that restarts the daemon) is not set" }, async () => {
        const { page, close } = await browser.open(`${BASE}/`);
        try {
                await settled(page);
                const epoch = async () => fetch(`${BASE}/healthz`).then((r) => r.json()).then((health) => health.epoch).catch(() => 0);
                const before = await epoch();
                const stream = page.waitForResponse((r) => r.url().includes("/api/v1/events") && r.status() === 200, { timeout: 60000 });
                execSync(process.env.TIPPLANE_RESTART, { stdio: "ignore" });
                await stream;
                assert.ok(await epoch() > before, "it is another life of the daemon");
                await page.waitForFunction(() => document.querySelector("#link").textContent === "live", null, { timeout: 30000 });
                assert.ok(await page.locator(".die").count() > 0);
        } finally {
                await close();
        }
});

test("a thousand events leave heap and document as they were", { timeout: 120000 }, async () => {
        const link = await makeLink();
        link.speak();
        const { page, wrong, close } = await browser.open(`${link.url}/`);
        try {
                await settled(page);
                await page.waitForFunction(() => document.querySelector(".under")?.textContent.includes("other die"));
                const cdp = await page.context().newCDPSession(page);
                await cdp.send("Performance.enable");
                const weigh = async () => {
                        await page.waitForTimeout(3500);
                        for (let i = 0; i < 3; i++)
                                await cdp.send("HeapProfiler.collectGarbage");
                        const { metrics } = await cdp.send("Performance.getMetrics");
                        const of = (name) => metrics.find((m) => m.name === name).value;
                        return { heap: of("JSHeapUsedSize"), nodes: of("Nodes"), listeners: of("JSEventListeners") };
                };
                let id = 2;
                const burst = async (n) => {
                        for (let i = 0; i < n; i++, id++) {
                                link.say(`event: ${["map", "values", "note", "check"][i % 4]}\nid: 1.${id}\ndata: {"run":"${run.id}"}\n\nevent: snapshot\ndata: {"run":"${run.id}"}\n\n`);
                                await new Promise((done) => setTimeout(done, 10));
                        }
                };
                await burst(200);
                const before = await weigh();
                await burst(1000);
                const after = await weigh();
                assert.ok(after.heap - before.heap < 1.5e6, `heap grew by ${((after.heap - before.heap) / 1e6).toFixed(2)} MB`);
                assert.ok(after.nodes - before.nodes < 300, `nodes: ${before.nodes} before, ${after.nodes} after`);
                assert.ok(after.listeners - before.listeners < 50, `listeners: ${before.listeners} before, ${after.listeners} after`);
                assert.deepEqual(wrong, []);
        } finally {
                await close();
                await link.cut();
        }
});

test("a picture for the first page of the documentation", { timeout: 60000, skip: process.env.TIPPLANE_SCREENSHOT ? false : "TIPPLANE_SCREENSHOT is not set" }, async () => {
        const { page, close } = await browser.open(`${BASE}/`, { viewport: { width: 1440, height: 1240 } });
        try {
                await settled(page);
                await page.waitForFunction(() => document.querySelector(".under")?.textContent.includes("other die"));
                await page.screenshot({ path: new URL("../../docs/images/page.png", import.meta.url).pathname, fullPage: true });
        } finally {
                await close();
        }
});
