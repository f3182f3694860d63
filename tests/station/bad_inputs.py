#!/usr/bin/env python3
"""Bad input from every side: each gets one sentence that says what, where, which value, and what to do; never a 5xx; and nothing stored is lost.

bad_inputs.py [--build DIR] [--print]       --print shows every sentence
Each row names the pieces its sentence must have: the value given, the place, a verb for the person.
"""
import argparse, hashlib, json, os, shutil, socket, sqlite3, subprocess, tempfile, time, uuid
from programs import Count, Programs, REPO, TINY, free_port, load

count = Count()
show = False
UNKNOWN_RUN = "01ARZ3NDEKTSV4RRFFQ69G5FAV"


def changed(recipe, *path_and_value):
    """A deep copy with one value put at the path; the value DELETE takes the key away."""
    r = json.loads(json.dumps(recipe))
    at = r
    for k in path_and_value[:-2]:
        at = at[k]
    if path_and_value[-1] is DELETE:
        del at[path_and_value[-2]]
    else:
        at[path_and_value[-2]] = path_and_value[-1]
    return json.dumps(r).encode()


DELETE = object()


def is_sentence(text):
    return len(text) >= 20 and "internal error" not in text.lower() and "(null)" not in text and not text.lower().startswith("error")


def judge(name, status, want, text, pieces):
    text = text if isinstance(text, str) else text.decode(errors="replace")
    missing = [piece for piece in pieces if piece.lower() not in text.lower()]
    wrong = []
    if status not in (want if isinstance(want, tuple) else (want,)):
        wrong.append("status %s, not %s" % (status, want))
    if not is_sentence(text):
        wrong.append("no sentence")
    if missing:
        wrong.append("not said: %s" % missing)
    if wrong:
        count.fail("%s: %s\n  %s" % (name, "; ".join(wrong), text))
    else:
        count.ok("%s%s" % (name, ": " + text.strip() if show else ""))


class Door:
    """The API of one running daemon."""

    def __init__(self, p):
        self.p = p

    def ask(self, name, method, path, want, pieces, body=None, headers=None, token=True, key=False):
        try:
            status, head, answer = self.p.call(method, path, body, headers, token=token, key=key)
        except OSError as e:
            count.fail("%s: no answer: %s" % (name, e))
            return
        try:
            problem = json.loads(answer)
            text = "%s | %s | %s" % (problem["detail"], problem["what_to_do"], problem.get("pointer", ""))
            ok = problem["status"] == status and problem["code"] and problem["type"] == "/problems/" + problem["code"] and head["content-type"].startswith("application/problem+json")
        except (ValueError, KeyError):
            text, ok = answer.decode(errors="replace"), False
        if not ok and 400 <= status:
            count.fail("%s: %d is no problem document: %s" % (name, status, text[:300]))
            return
        judge(name, status, want, text, pieces)

    def recipe(self, name, body, pieces, want=422, sha=None):
        self.ask("recipe, " + name, "PUT", "/api/v1/recipes/" + (sha or hashlib.sha256(body).hexdigest()), want, pieces, body)

    def raw(self, name, request, want, pieces):
        """Bytes as they stand; the answer's status and body are judged."""
        with socket.create_connection(("127.0.0.1", self.p.port), 10) as s:
            s.sendall(request)
            got = b""
            try:
                while b"\r\n\r\n" not in got or len(got.split(b"\r\n\r\n", 1)[1]) < int(next(
                        (line.split(b":")[1] for line in got.split(b"\r\n") if line.lower().startswith(b"content-length")), b"0")):
                    piece = s.recv(65536)
                    if not piece:
                        break
                    got += piece
            except socket.timeout:
                pass
        status = int(got.split()[1]) if got.startswith(b"HTTP/") else 0
        judge(name, status, want, got.split(b"\r\n\r\n", 1)[-1], pieces)


def documents(d, recipe, text):
    J = lambda *a: changed(recipe, *a)
    d.recipe("not JSON", b"{\"name\": \"x\",, }", ["JSON", "line"])
    d.recipe("text after the value", text + b" x", ["after"])
    d.recipe("duplicate key", text.replace(b'{', b'{"name": "again", ', 1), ["name", "twice"])
    d.recipe("a byte order mark", b"\xef\xbb\xbf" + text, ["byte order mark"])
    d.recipe("bad UTF-8", text.replace(b'"notes": "', b'"notes": "\xff\xfe', 1), ["UTF-8"])
    d.recipe("a number with a leading zero", text.replace(b'"diameter_mm": ', b'"diameter_mm": 0', 1), ["zero"])
    d.recipe("a number beyond every double", text.replace(b'"max_volt": ', b'"max_volt": 1e400, "x": ', 1), ["1e400"])
    d.recipe("a NaN", text.replace(b'"max_volt": ', b'"max_volt": NaN, "x": ', 1), ["line"])
    d.recipe("nested too deeply", b"[" * 4000 + b"]" * 4000, ["brackets", "32"])
    d.recipe("an unknown key", J("max_vlot", 1), ["max_vlot", "max_volt"])
    d.recipe("a missing key", J("proof", DELETE), ["proof"])
    d.recipe("a text for a number", J("setup", "overtravel_um", "thirty"), ["/setup/overtravel_um"])
    d.recipe("a value out of range", J("layout", "pitch_x_um", -9400), ["/layout/pitch_x_um", "-9400"])
    d.recipe("layout: a device twice", J("layout", "devices", recipe["layout"]["devices"] + recipe["layout"]["devices"][:1]),
             ["/layout/devices", recipe["layout"]["devices"][0]["name"]])
    d.recipe("layout: notch at 400 degrees", J("layout", "notch_deg", 400), ["/layout/notch_deg", "400"])
    d.recipe("layout: reference die off the wafer", J("layout", "reference_die", {"x": 90, "y": 0}), ["/layout/reference_die", "90"])
    d.recipe("a device that is not in the layout", J("measures", 0, "device", "NOSUCH"), ["NOSUCH", "/measures/0"])
    d.recipe("a sweep that is not there", J("calibration", "sweep", "narrow"), ["narrow", "/calibration/sweep"])
    d.recipe("a method that is not there", J("calibration", "method", "magic"), ["magic", "/calibration/method"])
    d.recipe("verified with a copy it is made of", J("calibration", "verify", [{"standard": "SHORT_A", "limit": 0.2}]), ["SHORT_A", "verify"])
    d.recipe("a die for the proof that the wafer has not", J("proof", "dies", 0, {"x": 50, "y": 50}), ["50", "/proof/dies/0"])
    d.recipe("a stop below its start", J("sweeps", 0, "segments", 0, "stop_hz", 10), ["/sweeps/0/segments/0", "10"])
    d.recipe("more bias than the recipe's own ceiling", J("measures", 0, "conditions", [{"volt": 50}]), ["50", "max_volt"])
    d.recipe("a name that could be a formula", J("measures", 0, "parameters", [{"name": "=1+1", "quantity": "R", "freq_hz": 1e9}]), ["=1+1"])
    d.recipe("another digest than its bytes'", text, ["digest"], sha="ab" * 32)
    d.recipe("no digest at all", text, ["xyz"], want=(404, 422), sha="xyz")
    d.ask("explain, an empty body", "POST", "/api/v1/recipes/explain", (415, 422), [], b"", token=False)
    d.ask("documents of an unknown kind", "GET", "/api/v1/documents?kind=poem", 422, ["poem", "recipe"], token=False)


def people(d, text, sha):
    d.ask("no token", "PUT", "/api/v1/recipes/" + sha, 401, ["token"], text, token=False)
    d.ask("a wrong token", "PUT", "/api/v1/recipes/" + sha, 401, ["token"], text, token="tpl_" + "0" * 64)
    d.ask("a token that is none", "POST", "/api/v1/station/safe", 401, ["token"], {}, token="abc")
    status, _, answer = d.p.call("POST", "/api/v1/tokens", {"person": "guest", "role": "watch"}, token=True)
    assert status == 201, answer
    guest = json.loads(answer)["token"]
    d.ask("a token of too small a role", "POST", "/api/v1/runs", 403, ["operate", "watch"], {"recipe": sha, "wafer": "W1"}, token=guest, key=True)
    d.ask("a token for an unknown role", "POST", "/api/v1/tokens", 422, ["king", "safety"], {"person": "guest", "role": "king"})


def http(d, text, sha):
    d.ask("no such address", "GET", "/api/v1/wafer_maps", 404, ["/api/v1/wafer_maps"], token=False)
    d.ask("a method that the address does not know", "DELETE", "/api/v1/runs", 405, ["DELETE"])
    d.ask("a body that is not JSON by its own word", "POST", "/api/v1/runs", 415, ["text/plain", "application/json"], b"x", {"Content-Type": "text/plain"}, key=True)
    d.ask("a command too long", "POST", "/api/v1/runs", 413, ["4096"], b"{" + b" " * 5000 + b"}", key=True)
    d.ask("no Idempotency-Key", "POST", "/api/v1/runs", 400, ["Idempotency-Key"], {"recipe": sha, "wafer": "W1"})
    d.ask("an Idempotency-Key with blanks", "POST", "/api/v1/runs", 400, ["Idempotency-Key"], {"recipe": sha, "wafer": "W1"}, key="a b c d e f g h")
    d.ask("a Last-Event-ID that is none", "GET", "/api/v1/events?last_event_id=yesterday", 422, ["yesterday"], token=False)
    d.ask("a limit of zero", "GET", "/api/v1/runs?limit=0", 422, ["limit", "0", "1000"], token=False)
    d.ask("a run id that is none, as cursor", "GET", "/api/v1/runs?after=abc", 422, ["abc"], token=False)
    host = b"Host: 127.0.0.1:%d\r\n" % d.p.port
    d.raw("a recipe too long, refused before it is sent", b"PUT /api/v1/recipes/" + sha.encode() + b" HTTP/1.1\r\n" + host + b"Authorization: Bearer " + d.p.token().encode() +
          b"\r\nContent-Type: application/json\r\nContent-Length: 2097153\r\n\r\n", 413, ["2097152", "2097153"])
    d.raw("two lengths", b"POST /api/v1/runs HTTP/1.1\r\n" + host + b"Content-Length: 2\r\nContent-Length: 4\r\nContent-Type: application/json\r\n\r\n{}{}", (400,), [])
    d.raw("a host that is not this one", b"GET /api/v1/station HTTP/1.1\r\nHost: evil.example\r\n\r\n", (400, 403, 421), ["evil.example"])
    d.raw("another site's page", b"POST /api/v1/station/safe HTTP/1.1\r\n" + host + b"Origin: http://evil.example\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{}", (401, 403), [])


def runs(d, sha, run):
    d.ask("run, an unknown recipe", "POST", "/api/v1/runs", 404, ["00ff00ff", "/api/v1/recipes"], {"recipe": "00ff" * 16, "wafer": "W1"}, key=True)
    d.ask("run, a wafer's name that could be a path", "POST", "/api/v1/runs", 422, ["/wafer", "../../etc"], {"recipe": sha, "wafer": "../../etc"}, key=True)
    d.ask("run, no wafer", "POST", "/api/v1/runs", 422, ["wafer"], {"recipe": sha}, key=True)
    d.ask("run, an unknown key", "POST", "/api/v1/runs", 422, ["waver", "wafer"], {"recipe": sha, "wafer": "W1", "waver": 1}, key=True)
    d.ask("run, JSON with text after it", "POST", "/api/v1/runs", 422, ["after"], b'{"recipe":"x"} {}', key=True)
    d.ask("run, an array", "POST", "/api/v1/runs", 422, ["object"], b"[]", key=True)
    d.ask("run, a digest that is none", "POST", "/api/v1/runs", 422, ["/recipe"], {"recipe": "zz", "wafer": "W1"}, key=True)
    key = uuid.uuid4().hex
    d.ask("the same key", "POST", "/api/v1/runs/%s/commands" % run, (409,), [], {"do": "pause"}, key=key)
    d.ask("the same key with another body", "POST", "/api/v1/runs/%s/commands" % run, 422, ["key"], {"do": "resume"}, key=key)
    d.ask("command to a run that is not there", "POST", "/api/v1/runs/%s/commands" % UNKNOWN_RUN, 404, [UNKNOWN_RUN, "/api/v1/runs"], {"do": "pause"}, key=True)
    d.ask("command to a run that has ended", "POST", "/api/v1/runs/%s/commands" % run, 409, [run, "not in hand"], {"do": "pause"}, key=True)
    d.ask("command that is none", "POST", "/api/v1/runs/%s/commands" % run, 422, ["explode", "pause"], {"do": "explode"}, key=True)
    d.ask("skip without a die", "POST", "/api/v1/runs/%s/commands" % run, 422, ["die"], {"do": "skip"}, key=True)
    d.ask("run, as it is not written", "GET", "/api/v1/runs/not-a-run", 404, ["not-a-run"], token=False)
    d.ask("map of a run that is not there", "GET", "/api/v1/runs/%s/map" % UNKNOWN_RUN, 404, [UNKNOWN_RUN], token=False)
    d.ask("sweep 0", "GET", "/api/v1/runs/%s/sweeps/0" % run, 422, ["0"], token=False)
    d.ask("sweep 999999", "GET", "/api/v1/runs/%s/sweeps/999999/network.s2p" % run, 404, ["999999"], token=False)
    d.ask("sweeps for an unknown use", "GET", "/api/v1/runs/%s/sweeps?use=fun" % run, 422, ["fun", "witness"], token=False)
    d.ask("de-embedded twice", "GET", "/api/v1/runs/%s/sweeps/999/network.csv?deembedded=2" % run, 422, ["2"], token=False)
    d.ask("a trace that is not there", "GET", "/api/v1/runs/%s/sweeps/%d/traces/S99" % (run, d.p.get("/api/v1/runs/%s/sweeps" % run)["sweeps"][0]["n"]), 404, ["S99"], token=False)
    d.ask("clear without a word", "POST", "/api/v1/station/clear", 422, [], {"who": 3}, key=True)


def in_hand(d, recipe, text):
    """While a run is in hand."""
    sha = d.p.put_recipe(text)
    run = d.p.start_run(text, "W2")
    d.ask("skip of a die that the wafer has not", "POST", "/api/v1/runs/%s/commands" % run, (404, 409, 422), ["77"], {"do": "skip", "die": {"x": 77, "y": -77}}, key=True)
    d.ask("a second run beside the first", "POST", "/api/v1/runs", 409, [run], {"recipe": sha, "wafer": "W3"}, key=True)
    d.p.wait_sealed(run)
    d.p.stop()


def said(command, **more):
    r = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=60, cwd=REPO, **more)
    lines = [line for line in r.stdout.decode(errors="replace").splitlines() if not line.startswith("level=")]
    return r.returncode, " ".join(lines)


def programs(p, build, folder):
    daemon, station = os.path.join(p.build, "tipplaned"), os.path.join(p.build, "tipplane-station")
    other = ["--station", "unix:" + p.socket, "--listen", "127.0.0.1:%d" % free_port()]
    code, text = said([daemon, "--data", p.data_dir] + other)
    judge("a second daemon on the same data", code, 4, text, [str(p.p["daemon"].pid), p.data_dir])
    code, text = said([station, "--config", p.station_file, "--socket", p.socket, "--log", folder + "/log2", "--world", folder + "/world2"])
    judge("a second station on the same socket", code, 4, text, [str(p.p["station"].pid), p.socket])
    code, text = said([daemon, "--data", folder + "/elsewhere", "--station", "unix:" + p.socket, "--listen", "127.0.0.1:%d" % p.port])
    judge("a port that is taken", code, (1, 2, 4, 5, 6), text, [str(p.port)])
    code, text = said([daemon, "--data", folder + "/elsewhere", "--station", "unix:" + p.socket, "--listen", "0.0.0.0:0"])
    judge("a listening address that is not loopback", code, 2, text, ["0.0.0.0", "loopback"])
    code, text = said([daemon, "--dta", "x"])
    judge("an unknown option of the daemon", code, 2, text, ["dta"])
    with open(folder + "/a_file", "w") as f:
        f.write("not a folder")
    code, text = said([daemon, "--data", folder + "/a_file"] + other)
    judge("a data folder that is a file", code, (1, 2, 3), text, ["a_file", "directory"])


def databases(p, folder):
    """The daemon is down.  A copy of its data is made worse in several ways; the original stays."""
    def copy(name, spoil):
        to = os.path.join(folder, name)
        shutil.copytree(p.data_dir, to)
        spoil(to)
        before = hashlib.sha256(load(to + "/catalogue.db")).digest()
        code, text = said([os.path.join(p.build, "tipplaned"), "--data", to, "--station", "unix:" + folder + "/nobody", "--listen", "127.0.0.1:%d" % free_port()])
        return to, before, code, text

    def version(to):
        db = sqlite3.connect(to + "/catalogue.db")
        db.execute("PRAGMA user_version=99")
        db.commit()
        db.close()
    to, before, code, text = copy("future", version)
    judge("a catalogue of a future version", code, tuple(range(1, 20)), text, ["catalogue.db", "99", "version"])
    count.check(hashlib.sha256(load(to + "/catalogue.db")).digest() == before, "the catalogue of a future version is left as it was")

    def foreign(to):
        os.unlink(to + "/catalogue.db")
        db = sqlite3.connect(to + "/catalogue.db")
        db.execute("CREATE TABLE diary(day TEXT)")
        db.execute("PRAGMA user_version=1")
        db.commit()
        db.close()
    to = os.path.join(folder, "foreign")
    shutil.copytree(p.data_dir, to)
    foreign(to)
    before = load(to + "/catalogue.db")
    other = Programs(p.build, folder + "/other", TINY[1])
    other.data_dir = to
    try:
        other.start("daemon")
        other.wait_api(30, connected=False)
        runs = other.get("/api/v1/runs")["runs"]
        other.kill("daemon", sig=15)
        other.p["daemon"].wait(60)
    finally:
        other.abandon()
    aside = [name for name in os.listdir(to) if name != "catalogue.db" and os.path.isfile(os.path.join(to, name)) and load(os.path.join(to, name)) == before]
    judge("somebody else's database in the catalogue's place", 0, 0, " ".join(line for line in other.tail("daemon", 40).splitlines() if "aside" in line), ["catalogue.db", "aside"])
    count.check(len(aside) == 1, "it is set aside, byte for byte: %s" % aside)
    count.check(len(runs) == 2, "and the runs are found again from their files: %d" % len(runs))


def stations(p, folder, recorded):
    station = os.path.join(p.build, "tipplane-station")

    def check(name, text, pieces, raw=None, code=2):
        path = os.path.join(folder, "bad.station.json")
        with open(path, "w") as f:
            f.write(raw if raw is not None else json.dumps(text))
        status, said_ = said([station, "--config", path, "--check", "--data", recorded])
        judge("station file, " + name, status, code if isinstance(code, tuple) else (1, code), said_, pieces)
    good = {"name": "x", "driver": "simulated", "config": {"scenario": TINY[1]}}
    status, text = said([station, "--config", folder + "/nowhere.json", "--check"])
    judge("station file, not there", status, (1, 2, 3), text, ["nowhere.json"])
    check("not JSON", None, ["line"], raw="driver: simulated")
    check("an unknown driver", dict(good, driver="telepathy"), ["telepathy", "simulated"])
    check("an unknown key", dict(good, limit={}), ["limit", "limits"])
    check("a limit out of range", dict(good, limits={"overtravel_um_max": -5}), ["overtravel_um_max", "-5"])
    check("a scenario that is not there", dict(good, config={"scenario": folder + "/nothing.json"}), ["nothing.json"], code=(2, 3))
    at = {"place": "wafer", "x_um": 0, "y_um": 0, "file": "line.s2p"}
    replay = {"name": "x", "driver": "replay", "config": {"directory": ".", "sweeps": [at], "spacings_um": [200]}}
    check("a replay file that is not there", replay, ["line.s2p", "TIPPLANE_DATA"], code=(2, 3))

    def touchstone(name, text, pieces):
        with open(os.path.join(recorded, "line.s2p"), "w") as f:
            f.write(text)
        check("Touchstone, " + name, replay, pieces)
    touchstone("no option line", "1 0 0 0 0 0 0 0 0\n", ["line.s2p", "#"])
    touchstone("a word for a number", "# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n2 0 0 one 0 1 0 0 0\n", ["line.s2p", "one", "3"])
    touchstone("frequencies that fall", "# GHz S RI R 50\n2 0 0 1 0 1 0 0 0\n1 0 0 1 0 1 0 0 0\n", ["line.s2p", "3"])
    touchstone("a row that is cut off", "# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n2 0 0 1 0\n", ["line.s2p"])
    touchstone("admittances", "# GHz Y RI R 50\n1 0 0 1 0 1 0 0 0\n", ["line.s2p", "Y"])
    touchstone("empty", "", ["line.s2p"])


def replays(build, folder):
    """A plan that asks other frequencies than were recorded is refused at its start, and says which."""
    recorded = os.path.join(folder, "recorded")
    os.makedirs(recorded, exist_ok=True)
    recipe = json.loads(load(os.path.join(REPO, "tests/station/replay/mtrl_small.recipe.json")))
    rows = "".join("%.6f 0 0 1 0 1 0 0 0\n" % (2 + k * 0.49) for k in range(201))
    files = json.loads(load(os.path.join(REPO, "tests/station/replay/mtrl_small.station.json")))
    files["config"]["directory"] = "."
    for s in files["config"]["sweeps"]:
        with open(os.path.join(recorded, s["file"]), "w") as f:
            f.write("# GHz S RI R 50\n" + rows)
    for name in files["config"]["switch_terms"].values():
        with open(os.path.join(recorded, name), "w") as f:
            f.write("# GHz S RI R 50\n" + "".join("%.6f 0 0\n" % (2 + k * 0.49) for k in range(201)))
    path = os.path.join(folder, "replay.station.json")
    with open(path, "w") as f:
        json.dump(files, f)
    p = Programs(build, os.path.join(folder, "replaying"), station=path, data=recorded)
    try:
        p.up()
        sha = p.put_recipe(json.dumps(recipe).encode())
        Door(p).ask("replay, other frequencies than were recorded", "POST", "/api/v1/runs", (409, 422), ["Hz"], {"recipe": sha, "wafer": "W1"}, key=True)
        recipe["sweeps"][0]["segments"][0].update(start_hz=2e9, stop_hz=100e9)
        recipe["measures"][0]["parameters"] = []
        recipe["layout"]["devices"][0]["footprint"]["spacing_um"] = 333
        sha = p.put_recipe(json.dumps(recipe).encode())
        Door(p).ask("replay, a spacing that was not recorded", "POST", "/api/v1/runs", (409, 422), ["333"], {"recipe": sha, "wafer": "W1"}, key=True)
        p.stop()
    finally:
        p.abandon()


def main():
    global show
    a = argparse.ArgumentParser()
    a.add_argument("--build", default="build/debug")
    a.add_argument("--print", action="store_true")
    o = a.parse_args()
    show = o.print
    folder = tempfile.mkdtemp(prefix="tipplane-bad-")
    recorded = os.path.join(folder, "touchstone")
    os.makedirs(recorded)
    p = Programs(o.build, os.path.join(folder, "house"), TINY[1], 7)
    text = load(TINY[0])
    recipe = json.loads(text)
    try:
        p.up()
        run = p.start_run(text)
        row = p.wait_sealed(run)
        sha = hashlib.sha256(text).hexdigest()
        values = p.get("/api/v1/runs/%s/parameters.json" % run)
        d = Door(p)
        documents(d, recipe, text)
        people(d, text, sha)
        http(d, text, sha)
        runs(d, sha, run)
        programs(p, o.build, folder)
        count.check(p.get("/api/v1/runs/%s/parameters.json" % run) == values and p.get("/api/v1/runs/" + run)["file_sha256"] == row["file_sha256"]
                    and [r["sha256"] for r in p.get("/api/v1/recipes")["documents"]] == [sha], "nothing stored was lost or added by any of it")
        count.check(all(p.p[n].poll() is None for n in ("daemon", "station")), "both programs still run")
        in_hand(d, recipe, text)
        databases(p, folder)
        stations(p, folder, recorded)
        replays(o.build, folder)
        with open(os.path.join(p.folder, "daemon.stderr"), errors="replace") as f:
            bugs = [line for line in f if "status=500" in line or "code=bug" in line]
        count.check(not bugs, "no line of the daemon's log speaks of a mistake of its own", bugs[:2])
    except (AssertionError, OSError) as e:
        count.fail("%s: %s" % (type(e).__name__, e))
    finally:
        p.abandon()
        shutil.rmtree(folder, ignore_errors=True)
    count.end()


main()
