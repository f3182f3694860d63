/* api.js: the only module that asks the daemon.
 * Idea      Every answer is asked again with the entity tag of the last one, so an unchanged map costs no body.  An error carries the daemon's own sentence. */

/**
 * @typedef {"none"|"pass"|"marginal"|"fail"} Verdict
 * @typedef {"unknown"|"proven"|"open"|"suspect"|"rescued"} Trust
 * @typedef {{x: number, y: number}} DieXY
 * @typedef {{name: string, outcome: string, verdict: Verdict, trust: Trust, reason?: string, sweep?: number}} MapDevice
 * @typedef {{x: number, y: number, waits: number, no_contact: number, verdict: Verdict, trust: Trust, devices: MapDevice[]}} MapDie
 * @typedef {{run: string|null, wafer?: string, diameter_mm?: number, notch_deg?: number, pitch_x_um?: number, pitch_y_um?: number,
 *            offset_x_um?: number, offset_y_um?: number, dies?: MapDie[]}} WaferMap
 * @typedef {{state: string, sentence: string, waiting_for?: string|null, needs_person?: boolean, why_refused?: string|null, seq?: number, dies?: number,
 *            dies_done?: number, station_seconds?: number, seconds_left?: number, seconds_planned?: number, waited_seconds?: number,
 *            counts?: Record<string, number>, place?: {proven: boolean}, calibration?: {in_force: number, tries: number}}} Progress
 * @typedef {{id: string, number?: number, kind?: string, state: string, in_hand: boolean, wafer?: string, lot?: string, recipe?: string, began?: string,
 *            file_sha256?: string|null, progress?: Progress|null}} Run
 * @typedef {{name: string, quantity: string, unit: string, freq_hz: number, low: number|null, high: number|null}} ParameterPlan
 * @typedef {{name: string, kind: string, deembed: string, dummy: boolean, parameters: ParameterPlan[]}} Device
 * @typedef {{scopes?: {touch: number, reading: number, shared: number}, touch?: Record<string, number>, reading?: Record<string, number>,
 *            shared?: Record<string, number>, not_counted?: string[]}} Budget
 * @typedef {{die: DieXY, device: string, quantity: string, unit: string, freq_hz: number, value: number|null, u95: number|null, verdict: Verdict,
 *            conformance: number|null, guard_band: number|null, reason: string|null, trust: Trust|null, trust_reason: string|null, contact: string, plane: string, attempt: number, condition: number,
 *            touchdown: number, sweep: number, budget: Budget|null}} Parameter
 * @typedef {{seq: number, t_s: number|null, place: string, die: DieXY|null, device: string|null, attempt: number, outcome: string|null,
 *            trust: Trust|null, contact_ohm: number|null}} RibbonTouch
 * @typedef {{delay_fs: number, loss_db: number, contact_ohm: number, contact_h: number, position_um: number,
 *            delay_u_fs?: number, loss_u_db?: number}} PortModes
 * @typedef {{port1?: PortModes, port2?: PortModes, worst_share?: number, sentence?: string}} Modes
 * @typedef {{id: number, seq: number, t_s: number|null, passed: boolean, cause: string|null, modes: Modes|null}} RibbonCheck
 * @typedef {{id: number, opened: number, closed: number|null, from_s: number|null, to_s: number|null, ended_by: string|null}} RibbonInterval
 * @typedef {{run: string, touches: RibbonTouch[], checks: RibbonCheck[], intervals: RibbonInterval[], limits?: Partial<PortModes>|null}} Ribbon
 * @typedef {{dc_ohm_start?: number[], dc_ohm_end?: number[], dc_share?: number, raised_distance?: number|null, symmetry?: number|null,
 *            ripple?: number|null, reason?: string}} Evidence
 * @typedef {{id: number, place: string, die: DieXY|null, device: string|null, attempt: number, replaces: number|null, overtravel_um: number,
 *            outcome: string|null, trust: Trust|null, trust_reason: string|null, station_s: number|null, evidence: Evidence|null}} Touchdown
 * @typedef {{name: string, connected: boolean, simulated?: boolean, replayed?: boolean, separated: string, bias_off: string, axes: string,
 *            in_contact: boolean, latched: boolean, place?: string, volt_max?: number|null, station_ns?: number}} Station
 * @typedef {{id: string, cause: string, sentence: string, action: string, latched: boolean, raised: string}} Alarm
 * @typedef {{interval: number, before: number, after: number, sentence?: string, why_not?: string}} RescueInterval
 * @typedef {{id: string, offered: string, entry: number, suspects: number, devices: number, values: number, spec: {intervals?: RescueInterval[]}|null}} Offer
 * @typedef {{below?: string, above?: string, from_hz: number, to_hz: number, points: number, kink: number, kink_hz: number, kink_u?: number|null,
 *            kink_allowed?: number|null, share_of_allowed?: number|null, beyond: boolean, sentence: string}} Joint
 * @typedef {{standard: string, copy: string, port: number, ohm: number, u_ohm: number, short_ohm: number, stated_ohm: number, tolerance_ohm: number}} LoadByDc
 * @typedef {{bands?: {method: string, from_hz: number, to_hz: number}[], joints?: Joint[], loads?: LoadByDc[]}} Diagnosis
 * @typedef {{id: string, number: number, method: string, state: string, z_ref_ohm: number|null, domain?: {from_hz: number, to_hz: number}|null,
 *            diagnosis?: Diagnosis|null, standards?: {standard: string, swept: string|null}[]}} Calibration
 * @typedef {{good: number, n: number, share: number|null, wilson: (number|null)[], exact: (number|null)[], good_at_first_touch: number, marginal: number, fail: number,
 *            suspect: number, no_verdict: number, no_contact: number, not_measured: number}} Shares
 * @typedef {Shares & {device: string, quantity: string, condition: number, label: string, unit: string, low: number|null, high: number|null, values: number,
 *            measuring_known: boolean, median: number|null, quartiles: (number|null)[], s_robust: number|null, hidden_by_measuring: boolean, ppk: number|null,
 *            ppk_interval: (number|null)[], outliers: (DieXY & {value: number})[]}} YieldOf
 * @typedef {{run: string, wafer: string, cover: number, dies: Shares, quantities: YieldOf[], notes: string[]}} Yield
 * @typedef {{n: number, hz: Float64Array, s: Float32Array[]}} Network  s: re, im of S11, S12, S21, S22
 */

const BASE = "api/v1";
const KEPT_MAX = 24; // answers kept for their entity tag
const PATIENCE_MS = 10000;

/** What the daemon says when it refuses; the sentence is meant for people. */
export class Problem extends Error {
        /** @param {number} status 0: no answer at all  @param {{detail?: string, what_to_do?: string, code?: string}} body */
        constructor(status, body) {
                super([body.detail, body.what_to_do].filter(Boolean).join(" ") || `the daemon answered ${status}`);
                this.status = status;
                this.code = body.code ?? "";
        }
}

/** @type {Map<string, {etag: string, body: any}>} */
const kept = new Map();
/** @type {(ok: boolean) => void} */
let onHeard = () => {};

/** @param {(ok: boolean) => void} hear  called after each exchange: did the daemon answer? */
export const watchAnswers = (hear) => { onHeard = hear; };

/** @param {string} path @param {RequestInit} [init] @returns {Promise<Response>} */
async function ask(path, init = {}) {
        const stop = new AbortController();
        const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
        let reply;
        try {
                reply = await fetch(`${BASE}${path}`, { ...init, signal: stop.signal, cache: "no-store" });
        } catch {
                onHeard(false);
                throw new Problem(0, { detail: "The daemon does not answer." });
        } finally {
                clearTimeout(timer);
        }
        onHeard(true);
        if (reply.ok || reply.status === 304)
                return reply;
        throw new Problem(reply.status, await reply.json().catch(() => ({})));
}

/** @param {string} path @returns {Promise<any>} the parsed body; the same object again while it has not changed */
async function get(path) {
        const old = kept.get(path);
        const reply = await ask(path, old ? { headers: { "If-None-Match": old.etag } } : {});
        if (reply.status === 304 && old)
                return old.body;
        const body = await reply.json();
        const etag = reply.headers.get("ETag");
        if (etag) {
                kept.delete(path);
                kept.set(path, { etag, body });
                if (kept.size > KEPT_MAX)
                        kept.delete(/** @type {string} */ (kept.keys().next().value));
        }
        return body;
}

const query = (/** @type {Record<string, string|undefined>} */ parts) => {
        const set = Object.entries(parts).filter(([, v]) => v);
        return set.length ? `?${set.map(([k, v]) => `${k}=${encodeURIComponent(/** @type {string} */ (v))}`).join("&")}` : "";
};

/** @returns {Promise<Station>} */
export const station = () => get("/station");
/** @returns {Promise<Run[]>} newest first */
export const runs = async () => (await get("/runs?limit=50")).runs;
/** @param {string} id @returns {Promise<Run>} */
export const run = (id) => get(`/runs/${id}`);
/** @param {string} id @returns {Promise<WaferMap>} */
export const map = (id) => get(`/runs/${id}/map`);
/** @param {string} id @returns {Promise<Ribbon>} */
export const ribbon = (id) => get(`/runs/${id}/ribbon`);
/** @param {string} id @returns {Promise<Touchdown[]>} */
export const touchdowns = async (id) => (await get(`/runs/${id}/touchdowns`)).touchdowns;
/** @param {string} id @returns {Promise<Device[]>} */
export const devices = async (id) => (await get(`/runs/${id}/devices`)).devices;
/** @param {string} id @param {string} device @returns {Promise<Parameter[]>} every attempt, the last one last */
export const parameters = async (id, device) => (await get(`/runs/${id}/parameters.json${query({ device })}`)).parameters;
/** @param {string} id @returns {Promise<Offer|null>} the rescue that the run offers, where it does */
export const offer = async (id) => (await get(`/runs/${id}/evaluations`)).offer ?? null;
/** @param {string} id @returns {Promise<Yield>} */
export const yieldOf = (id) => get(`/runs/${id}/yield`);
/** @param {string} id @returns {Promise<Calibration[]>} in the order they were made */
export const calibrations = async (id) => (await get(`/runs/${id}/calibrations`)).calibrations;
/** @returns {Promise<Alarm[]>} */
export const alarms = async () => (await get("/alarms")).alarms;

/**
 * One corrected network, from CSV (bulk data never travel as JSON numbers).
 * @param {string} id @param {number} sweep @returns {Promise<Network>}
 */
export async function network(id, sweep) {
        const text = await (await ask(`/runs/${id}/sweeps/${sweep}/network.csv`)).text();
        const rows = text.split("\n").slice(1).filter(Boolean);
        const hz = new Float64Array(rows.length);
        const s = Array.from({ length: 8 }, () => new Float32Array(rows.length));
        rows.forEach((row, i) => {
                const cells = row.split(",");
                hz[i] = Number(cells[0]);
                for (let k = 0; k < 8; k++)
                        s[k][i] = Number(cells[k + 1]);
        });
        return { n: rows.length, hz, s };
}

/** Addresses for links; a reader can mail them. */
export const address = {
        /** @param {string} id @param {number} n @param {boolean} deembedded */
        touchstone: (id, n, deembedded) => `${BASE}/runs/${id}/sweeps/${n}/network.s2p?deembedded=${deembedded ? 1 : 0}`,
        /** @param {string} id @param {number} n @param {string} name */
        trace: (id, n, name) => `${BASE}/runs/${id}/sweeps/${n}/traces/${name}`,
        /** @param {string} id @param {string} [device] */
        parameters: (id, device) => `${BASE}/runs/${id}/parameters.csv${query({ device })}`,
        /** @param {string} id */
        file: (id) => `${BASE}/runs/${id}/file`,
        /** @param {string} id */
        calibrations: (id) => `${BASE}/runs/${id}/calibrations`,
        /** @param {string} id */
        rescue: (id) => `${BASE}/runs/${id}/rescue.csv`,
};

/** @param {string} id @param {"pause"|"resume"} what @param {string} token @returns {Promise<string>} a sentence */
export async function command(id, what, token) {
        const key = Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
        const reply = await ask(`/runs/${id}/commands`, {
                method: "POST",
                headers: { Authorization: `Bearer ${token}`, "Content-Type": "application/json", "Idempotency-Key": key },
                body: JSON.stringify({ do: what, why: "asked on the page" }),
        });
        return reply.status === 202 ? "Taken; the loop does it when it is safe." : "Taken; it stands in the journal.";
}
