/* app.js: what is shown, and when it is asked for again.
 * Data      One state; views get what they need and hold no truth.  The address (hash) says run, die, device and parameter, so that it can be mailed.
 * Idea      Hints of the stream mark pieces as old; a refresh at most every so often asks for them anew.  When the daemon is gone the last state stays. */
import * as api from "./api.js";
import { drawAccount } from "./account.js";
import { drawCalibrations } from "./calibration.js";
import { byId, commonScale, count, clock, h, quantity, say, span, withU95 } from "./dom.js";
import { makeDevice } from "./device.js";
import { listen } from "./events.js";
import { faceOf, rampOf, stepOf } from "./face.js";
import { drawMapLegend, drawRibbonLegend } from "./legend.js";
import { dieKey, makeMap } from "./map.js";
import { makeRibbon, stretchDies, stretchWords } from "./ribbon.js";
import { drawTable } from "./table.js";
import { OUTCOME, TIP, TRUST, VERDICT } from "./words.js";
import { drawYield } from "./yield.js";

const FAST_MS = 400, SLOW_MS = 4000, AGAIN_MS = 3000; // least time between two refreshes of the snapshot, of what readers answer, and after a failure
const OTHERS_MAX = 60, ATONCE = 2, NETWORKS_MAX = 150;
const QUIET_MS = 40000; // longer without a sign of life: ask

/** What the address says. @typedef {{run: string, die: string, device: string, par: string, sight: string}} Place */
const state = {
        /** @type {api.Run[]} */ runs: [],
        /** @type {api.Run|null} */ run: null,
        /** @type {api.Station|null} */ station: null,
        /** @type {api.WaferMap|null} */ map: null,
        /** @type {api.Ribbon|null} */ ribbon: null,
        /** @type {api.Touchdown[]} */ touchdowns: [],
        /** @type {api.Device[]} */ devices: [],
        /** @type {Map<string, api.Parameter[]>} by device */ parameters: new Map(),
        /** @type {api.Alarm[]} */ alarms: [],
        /** @type {api.Calibration[]} */ calibrations: [],
        /** @type {api.Offer|null} */ offer: null,
        /** @type {api.Yield|null} */ yield: null,
        /** @type {number|null} one number, where the calibration in force has one */ z_ohm: null,
        /** @type {import("./ribbon.js").Stretch|null} */ stretch: null,
        table: false,
        heard_ms: 0,
        open: false,
};
/** @type {Place} */
const place = { run: "", die: "", device: "", par: "", sight: "" };
const old = { snapshot: true, readers: true, curves: "" };

/* ---- the address -------------------------------------------------------------------------------------------------------------------------------- */

function readAddress() {
        const parts = new URLSearchParams(location.hash.slice(1));
        for (const key of /** @type {(keyof Place)[]} */ (["run", "die", "device", "par"]))
                place[key] = parts.get(key) ?? "";
        place.sight = parts.get("sight") ?? "";
}
function writeAddress() {
        const parts = Object.entries(place).filter(([key, value]) => value && !(unasked && (key === "die" || key === "device")));
        history.replaceState(null, "", `#${parts.map(([key, value]) => `${key}=${encodeURIComponent(value).replace("%2C", ",")}`).join("&")}`);
}

/* ---- what is derived ------------------------------------------------------------------------------------------------------------------------------ */

/** The parameter on show: its device and name; device alone, or nothing, when all are shown together. */
const shown = () => { const [device, name] = place.par.split(":"); return { device: device ?? "", name: name ?? "" }; };
const planOf = (/** @type {string} */ device) => state.devices.find((d) => d.name === device);

/** The last attempt of the parameter on show, by die. */
function valuesShown() {
        const { device, name } = shown();
        const out = new Map();
        for (const p of state.parameters.get(device) ?? [])
                if (p.quantity === name)
                        out.set(dieKey(p.die), p);
        return out;
}

/** The curve of the parameter on show, where it has one. */
const sightShown = () => { const { device, name } = shown(); return device === place.device ? planOf(device)?.parameters.find((p) => p.name === name)?.quantity ?? "" : ""; };

/** A die in one spoken sentence. */
function dieSentence(/** @type {api.MapDie} */ die, /** @type {import("./face.js").Face} */ face, /** @type {string} */ unit) {
        const { device, name } = shown();
        const what = device ? `${device}${name ? ` ${name.replaceAll("_", " at ")}` : ""}: ` : "";
        const value = face.value !== null ? `${withU95(face.value, face.u95, unit)}, ` : "";
        const why = face.reason ? `, ${face.reason}` : "";
        const all = device ? "" : `, ${count(die.devices.length, "device", "devices")}`;
        return `Die ${die.x}, ${die.y}. ${what}${value}${OUTCOME[face.outcome]}${all}. Verdict ${VERDICT[face.verdict]}, trust ${TRUST[face.border]}${why}.`.replaceAll("-", "−");
}

/* ---- drawing --------------------------------------------------------------------------------------------------------------------------------------- */

const drawWafer = makeMap(byId("map"), { onPick: pick, onWalk: (key) => speak(key) });
const drawRibbon = makeRibbon(byId("ribbon"), { onStretch: (stretch) => { state.stretch = stretch; drawAll(); } });
const device = makeDevice(byId("device-title"), byId("device-body"), {
        onDevice: (name) => { unasked = ""; place.device = name; keepShownWith(name); changed(); },
        onSight: (sight) => { place.sight = sight; writeAddress(); } });

/** @type {Map<string, string>} */
let sentences = new Map();
function speak(/** @type {string} */ key) { say(byId("spoken"), sentences.get(key) ?? ""); }

function drawHead() {
        const run = state.run, p = run?.progress, s = state.station;
        const calls = Boolean(p?.needs_person || s?.latched);
        say(byId("sentence"), p?.sentence ?? (run ? `Run ${run.number ?? ""} of wafer ${run.wafer ?? ""}: ${run.state}.` : state.heard_ms ? "No run has been started yet." : "Asking the daemon."));
        const needs = byId("needs");
        needs.hidden = !calls;
        say(needs, calls ? s?.latched ? "Needs you: the station is latched, not proven safe. Look at it, then clear it." : `Needs you: ${p?.waiting_for ?? "the run waits."}` : "");
        const facts = run ? [run.wafer ? `Wafer ${run.wafer}` : "", run.lot ? `lot ${run.lot}` : "", run.recipe ?? "", p ? p.state : run.state,
                p?.station_seconds ? `${span(p.station_seconds)} of station time` : "", p?.seconds_left ? `${span(p.seconds_left)} left` : "",
                s?.simulated ? "simulated station" : "", s?.replayed ? "replayed recordings" : ""] : [];
        say(byId("facts"), facts.filter(Boolean).join(" · "));
        say(byId("station"), s ? `Station ${s.name}: ${s.connected ? `probes ${s.in_contact ? "in contact" : `separated (${TIP[s.separated] ?? s.separated})`}, bias off ${TIP[s.bias_off] ?? s.bias_off}`
                + `${s.volt_max !== null && s.volt_max !== undefined ? `, highest voltage read ${quantity(Math.abs(s.volt_max) < 1e-3 ? 0 : s.volt_max, "V", 2)}` : ""}` : "does not answer"}.` : "");
        document.title = calls ? "Needs you · Tipplane" : run?.wafer ? `${run.wafer} · Tipplane` : "Tipplane";
}

function drawLink() {
        const age = state.heard_ms ? Math.round((Date.now() - state.heard_ms) / 1000) : -1;
        const link = byId("link");
        link.classList.toggle("gone", !state.open);
        document.body.classList.toggle("stale", !state.open && age >= 0);
        say(link, state.open ? "live" : age < 0 ? "connecting" : `last known ${span(age)} ago; the daemon does not answer`);
}

function drawRuns() {
        const select = /** @type {HTMLSelectElement} */ (byId("runs"));
        const label = (/** @type {api.Run} */ r) => `${r.wafer ?? r.id} · ${r.began ? clock(r.began) : ""} · ${r.in_hand ? "in hand" : r.state}`;
        const want = state.runs.map((r) => r.id + label(r)).join();
        if (select.dataset.look !== want) {
                select.dataset.look = want;
                select.replaceChildren(...state.runs.map((r) => h("option", { value: r.id }, label(r))));
        }
        if (state.run)
                select.value = state.run.id;
}

function drawShown() {
        const select = /** @type {HTMLSelectElement} */ (byId("shown"));
        const want = state.devices.map((d) => d.name + d.parameters.map((p) => p.name)).join();
        if (select.dataset.look !== want) {
                select.dataset.look = want;
                select.replaceChildren(h("option", { value: "" }, "all devices: verdict and trust"),
                        ...state.devices.map((d) => h("optgroup", { label: d.name }, ...d.parameters.map((p) => h("option", { value: `${d.name}:${p.name}` }, `${d.name} · ${p.name.replaceAll("_", " at ")}`)),
                                h("option", { value: `${d.name}:` }, `${d.name} · verdict and trust`))));
        }
        select.value = place.par;
}

function drawWaferAndTable() {
        const map = state.map;
        if (!map?.dies?.length) {
                drawWafer({ map: { run: null }, faces: new Map(), ramp: null, scale: 1, spread: 0, picked: "", marked: new Set(), sentence: () => "" });
                byId("map-legend").replaceChildren();
                return;
        }
        const { device: name, name: quantityName } = shown();
        const values = valuesShown();
        const plan = planOf(name)?.parameters.find((p) => p.name === quantityName);
        const numbers = [...values.values()].map((p) => p.value).filter((x) => x !== null);
        const ramp = rampOf(numbers), unit = plan?.unit ?? "";
        const faces = new Map(map.dies.map((die) => [dieKey(die), faceOf(die, name, values.get(dieKey(die)))]));
        sentences = new Map(map.dies.map((die) => [dieKey(die), dieSentence(die, /** @type {any} */ (faces.get(dieKey(die))), unit)]));
        const marked = state.stretch && state.ribbon ? stretchDies(state.ribbon, state.stretch) : new Set();
        byId("map").hidden = state.table;
        byId("table").hidden = !state.table;
        drawWafer({ map, faces, ramp, scale: commonScale(numbers, unit).scale, spread: ramp ? ramp.high - ramp.low : 0, picked: place.die, marked, sentence: (key) => sentences.get(key) ?? "" });
        if (state.table)
                drawTable(byId("table"), { caption: `${map.wafer ?? ""}: ${name ? `${name} ${quantityName.replaceAll("_", " at ")}` : "all devices"}`, unit, picked: place.die, onPick: pick,
                        rows: map.dies.map((die) => { const face = /** @type {import("./face.js").Face} */ (faces.get(dieKey(die))); return { key: dieKey(die), face, step: ramp && face.value !== null ? stepOf(ramp, face.value) : -1 }; }) });
        drawMapLegend(byId("map-legend"), { ramp, unit, what: quantityName ? `${name} ${quantityName.replaceAll("_", " at ")}` : "", notch_deg: map.notch_deg ?? 270 });
}

function drawNight() {
        const b = state.ribbon, p = state.run?.progress;
        if (!b) {
                drawRibbon(null);
                return;
        }
        const last = Math.max(0, ...b.touches.map((t) => t.t_s ?? 0), ...b.checks.map((c) => c.t_s ?? 0));
        const live = Boolean(state.run?.in_hand);
        drawRibbon({ ribbon: b, shares: new Map(state.touchdowns.filter((t) => t.evidence?.dc_share).map((t) => [t.id, t.evidence?.dc_share ?? 0])),
                total_s: live ? Math.max(last, (p?.station_seconds ?? 0) + (p?.seconds_left ?? 0), p?.seconds_planned ?? 0) : last, now_s: live && b.intervals.some((i) => i.closed === null) ? last : null,
                picked: place.die, stretch: state.stretch });
        const failed = b.checks.filter((c) => !c.passed).length;
        say(byId("night-words"), state.stretch ? stretchWords(b, state.stretch) : `${count(b.touches.length, "touch", "touches")}, ${count(b.checks.length, "check", "checks")}${failed ? `, ${failed} failed` : b.checks.length ? ", all passed" : ""}`);
}

function drawPicked() {
        const die = state.map?.dies?.find((d) => dieKey(d) === place.die);
        if (!die || !state.run) {
                device.draw(null, place.sight);
                return;
        }
        if (!die.devices.some((d) => d.name === place.device))
                place.device = shown().device || (die.devices.find((d) => !planOf(d.name)?.dummy) ?? die.devices[0])?.name || "";
        device.draw({ run: state.run.id, die, device: place.device, plan: planOf(place.device), parameters: state.parameters.get(place.device) ?? [], touchdowns: state.touchdowns, z_ohm: state.z_ohm }, place.sight || sightShown());
        void showCurves(die);
}

function drawAll() {
        drawHead();
        drawLink();
        drawRuns();
        drawShown();
        drawWaferAndTable();
        drawNight();
        drawPicked();
        drawYield(byId("yield-body"), state.yield);
        drawCalibrations(byId("calibration-body"), state.calibrations);
        if (state.run)
                drawAccount(byId("account-body"), state.run, state.alarms, state.offer);
}

/* ---- curves: the picked one at once, the others two at a time, at most OTHERS_MAX ----------------------------------------------------------------------- */

/** @type {Map<string, api.Network>} */
const networks = new Map();
async function networkOf(/** @type {string} */ run, /** @type {number} */ sweep) {
        const key = `${run}/${sweep}`;
        const had = networks.get(key);
        if (had)
                return had;
        const got = await api.network(run, sweep);
        networks.set(key, got);
        if (networks.size > NETWORKS_MAX)
                networks.delete(/** @type {string} */ (networks.keys().next().value));
        return got;
}

async function showCurves(/** @type {api.MapDie} */ die) {
        const run = state.run?.id ?? "", name = place.device;
        const sweepOf = (/** @type {api.MapDie} */ d) => d.devices.find((one) => one.name === name)?.sweep;
        const mine = sweepOf(die);
        const rest = (state.map?.dies ?? []).filter((d) => d !== die).map(sweepOf).filter((n) => n !== undefined).slice(0, OTHERS_MAX);
        const want = [run, name, mine, ...rest].join();
        if (want === old.curves)
                return;
        const still = () => old.curves === want;
        const before = old.curves;
        old.curves = want;
        if (!mine) {
                device.curves(null, [], "No sweep is stored.");
                return;
        }
        try {
                const picked = await networkOf(run, mine);
                /** @type {api.Network[]} */
                const others = rest.map((n) => networks.get(`${run}/${n}`)).filter((n) => n !== undefined);
                const words = () => others.length ? `Bold: this die. Thin: ${name} on ${count(others.length, "other die", "other dies")}.` : "";
                if (!still())
                        return;
                device.curves(picked, others, words());
                const missing = rest.filter((n) => !networks.has(`${run}/${n}`));
                if (!missing.length)
                        return;
                await Promise.all(Array.from({ length: ATONCE }, async () => {
                        while (missing.length && still()) {
                                const got = await networkOf(run, /** @type {number} */ (missing.shift())).catch(() => null);
                                if (got)
                                        others.push(got);
                        }
                }));
                if (still())
                        device.curves(picked, others, words());
        } catch (problem) {
                if (still()) {
                        old.curves = before === want ? "" : before;
                        device.curves(null, [], problem instanceof Error ? problem.message : "The curve could not be read.");
                }
        }
}

/* ---- asking ------------------------------------------------------------------------------------------------------------------------------------------ */

let failed = false;
/** Keeps what is known when a question fails, and lets it be asked again; other pieces still come. @template T @param {Promise<T>} asked @param {(got: T) => void} put */
const take = async (asked, put) => {
        try {
                put(await asked);
        } catch (problem) {
                if (!(problem instanceof api.Problem))
                        throw problem;
                failed ||= problem.status === 0 || problem.status >= 500;
        }
};

function forget() {
        Object.assign(state, { map: null, ribbon: null, touchdowns: [], devices: [], calibrations: [], offer: null, yield: null, stretch: null });
        state.parameters.clear();
        old.curves = "";
}

/** Which run: the one in the address, else the one in hand, else the newest. */
async function chooseRun() {
        await take(api.runs(), (runs) => { state.runs = runs; });
        const id = place.run || (state.runs.find((r) => r.in_hand) ?? state.runs[0])?.id || "";
        if (id !== state.run?.id) {
                forget();
                state.run = state.runs.find((r) => r.id === id) ?? null;
        }
        return id;
}

async function askSnapshot() {
        const id = await chooseRun();
        const asked = [take(api.station(), (s) => { state.station = s; }), take(api.alarms(), (a) => { state.alarms = a; })];
        if (id)
                asked.push(take(api.run(id), (r) => { state.run = r; }), take(api.map(id), (m) => { state.map = m; }));
        await Promise.all(asked);
}

async function askReaders() {
        const id = state.run?.id;
        if (!id)
                return;
        const { device: name } = shown();
        const asked = [take(api.ribbon(id), (b) => { state.ribbon = b; }), take(api.touchdowns(id), (t) => { state.touchdowns = t; }),
                take(api.offer(id), (o) => { state.offer = o; }), take(api.yieldOf(id), (y) => { state.yield = y; }), take(api.calibrations(id), (all) => { state.calibrations = all; state.z_ohm = all.filter((c) => c.state === "accepted").pop()?.z_ref_ohm ?? null; })];
        if (!state.devices.length)
                asked.push(take(api.devices(id), (d) => { state.devices = d; }));
        await Promise.all(asked);
        if (!place.par && !name && state.devices.length && !location.hash.includes("par="))
                showFirst();
        offer();
        await Promise.all([...new Set([shown().device, place.device])].filter(Boolean).map((one) => take(api.parameters(id, one), (p) => { state.parameters.set(one, p); })));
}

/** On first sight the wafer shows the first value anybody asks for. */
let first = true;
function showFirst() {
        const d = state.devices.find((one) => one.parameters.length);
        if (first && d)
                place.par = `${d.name}:${d.parameters[0].name}`;
        first = false;
}

/** While nobody has picked, one die lies open: the first that fails, else the first measured.  It is not in the address. */
let offered = "";
function offer() {
        const id = state.run?.id ?? "", { device: name } = shown();
        if (place.die || offered === id || !state.map?.dies)
                return;
        const seen = (/** @type {api.MapDie} */ d) => d.devices.find((one) => one.name === name && one.sweep);
        const die = state.map.dies.find((d) => seen(d)?.verdict === "fail") ?? state.map.dies.find(seen);
        if (!die)
                return;
        offered = id;
        place.die = dieKey(die);
        place.device = name;
        unasked = place.die;
}
let unasked = ""; // the die that nobody picked

let busy = false, timer = 0, snapshot_ms = 0, readers_ms = 0;
/** Asks what is old, as soon as its time has come. */
function soon() {
        if (busy || timer || document.hidden)
                return;
        const wait = Math.min(old.snapshot ? snapshot_ms + FAST_MS : Infinity, old.readers ? readers_ms + SLOW_MS : Infinity) - performance.now();
        if (wait < Infinity)
                timer = window.setTimeout(refresh, Math.max(0, wait));
}
async function refresh() {
        timer = 0;
        busy = true;
        try {
                const now = performance.now();
                if (old.snapshot && now >= snapshot_ms + FAST_MS) {
                        old.snapshot = false;
                        snapshot_ms = now;
                        await askSnapshot();
                }
                if (old.readers && now >= readers_ms + SLOW_MS) {
                        old.readers = false;
                        readers_ms = now;
                        await askReaders();
                }
        } finally {
                busy = false;
                if (failed) {
                        failed = false;
                        old.snapshot = old.readers = true;
                        snapshot_ms = performance.now() + AGAIN_MS - FAST_MS;
                        readers_ms = performance.now() + AGAIN_MS - SLOW_MS;
                }
                drawAll();
                soon();
        }
}

/** Ask at once, whatever was asked a moment ago. */
function now() {
        old.snapshot = old.readers = true;
        snapshot_ms = readers_ms = -Infinity;
        clearTimeout(timer);
        timer = 0;
        soon();
}

/* ---- people --------------------------------------------------------------------------------------------------------------------------------------------- */

function changed() {
        writeAddress();
        drawAll();
        old.readers = true;
        readers_ms = -Infinity;
        soon();
}
function pick(/** @type {string} */ key) {
        unasked = "";
        place.die = key;
        if (shown().device)
                place.device = shown().device;
        if (state.run)
                place.run = place.run || (state.run.in_hand ? "" : state.run.id);
        changed();
        speak(key);
}
/** The wafer follows the picked device, at its first parameter. */
function keepShownWith(/** @type {string} */ name) {
        if (shown().device !== name)
                place.par = `${name}:${planOf(name)?.parameters[0]?.name ?? ""}`;
}
function turnTable() {
        state.table = !state.table;
        byId("table-key").setAttribute("aria-pressed", String(state.table));
        drawAll();
}

byId("runs").addEventListener("change", (event) => { place.run = /** @type {HTMLSelectElement} */ (event.target).value; place.die = place.device = place.par = unasked = offered = ""; first = true; forget(); state.run = null; writeAddress(); now(); });
byId("shown").addEventListener("change", (event) => { place.par = /** @type {HTMLSelectElement} */ (event.target).value; if (shown().device) place.device = shown().device; first = false; changed(); });
byId("table-key").addEventListener("click", turnTable);
document.addEventListener("keydown", (event) => {
        const at = /** @type {HTMLElement} */ (event.target);
        if (event.key === "t" && !event.ctrlKey && !event.altKey && !event.metaKey && !at.closest("input, select, textarea"))
                turnTable();
});
window.addEventListener("hashchange", () => { readAddress(); now(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) now(); });
byId("control-form").addEventListener("submit", (event) => event.preventDefault());
byId("control-form").addEventListener("click", async (event) => {
        const what = /** @type {HTMLElement} */ (event.target).dataset.do;
        const answer = byId("control-answer");
        if (what !== "pause" && what !== "resume")
                return;
        const token = /** @type {HTMLInputElement} */ (byId("token")).value.trim();
        if (!state.run?.in_hand || !token) {
                say(answer, token ? "No run is in hand." : "A token is needed; the first one lies in the daemon's data folder.");
                return;
        }
        try {
                say(answer, await api.command(state.run.id, what, token));
        } catch (problem) {
                say(answer, problem instanceof Error ? problem.message : String(problem));
        }
});

/* ---- begin --------------------------------------------------------------------------------------------------------------------------------------------------- */

api.watchAnswers((ok) => {
        if (ok)
                state.heard_ms = Date.now();
        if (!ok && state.open)
                state.open = false;
});
let event_ms = Date.now();
listen({
        onLink: (open) => {
                const back = open && !state.open;
                state.open = open;
                event_ms = Date.now();
                if (open)
                        state.heard_ms = event_ms;
                drawLink();
                if (back)
                        now();
        },
        onReset: now,
        onHint: (topic) => {
                event_ms = Date.now();
                old.snapshot = true;
                if (topic === "check")
                        readers_ms = -Infinity;
                if (topic !== "snapshot")
                        old.readers = true;
                soon();
        },
});
window.setInterval(() => {
        drawLink();
        if (state.open && Date.now() - event_ms > QUIET_MS) {
                event_ms = Date.now();
                old.snapshot = true;
                soon();
        }
}, 1000);
drawRibbonLegend(byId("ribbon-legend"));
readAddress();
now();
