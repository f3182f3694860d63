"""interface.py: what schema/openapi.yaml promises, asked of the running daemon.  One claim per function; they run in order on one daemon and one run of the tiny recipe."""
import argparse, csv, hashlib, io, json, math, os, socket, sqlite3, statistics, struct, subprocess, sys, tempfile, threading, time, traceback

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(os.path.dirname(HERE), "station")]
import programs
from shapes import Shapes

API = "/api/v1"


class Bench:
    def __init__(self, build, folder):
        import yaml
        self.build = build
        with open(os.path.join(programs.REPO, "schema/openapi.yaml")) as f:
            self.document = yaml.safe_load(f)
        self.shapes = Shapes(self.document)
        self.recipe = programs.load(programs.TINY[0])
        self.programs = programs.Programs(build, folder, scenario=programs.TINY[1]).up()
        self.run = None

    def call(self, *a, **k):
        return self.programs.call(*a, **k)

    def fits(self, path, status, body, method="get"):
        """The body against the schema of this operation and status."""
        operation = self.document["paths"][path][method]
        answers = operation["responses"]
        assert str(status) in answers, "%s %s: status %d is not in the description" % (method, path, status)
        content = self.shapes.resolve(answers[str(status)]).get("content", {})
        for kind, what in content.items():
            if kind.endswith("json"):
                wrong = self.shapes.wrong(json.loads(body), what["schema"])
                assert not wrong, "%s %s: %s" % (method, path, "; ".join(wrong))

    def raw(self, data, seconds=5, close_write=False):
        """Bytes to the daemon as they are; all that comes back until it closes or `seconds` have passed."""
        got = b""
        with socket.create_connection(("127.0.0.1", self.programs.port), timeout=seconds) as s:
            s.sendall(data)
            if close_write:
                s.shutdown(socket.SHUT_WR)
            try:
                while True:
                    more = s.recv(65536)
                    if not more:
                        break
                    got += more
            except (socket.timeout, ConnectionResetError):
                pass
        return got


class Listener(threading.Thread):
    """One event stream on a socket of its own; events as (event, id, data)."""

    def __init__(self, port, last=None):
        super().__init__(daemon=True)
        self.events, self.status, self.over = [], None, False
        self.s = socket.create_connection(("127.0.0.1", port), timeout=60)
        more = "Last-Event-ID: %s\r\n" % last if last else ""
        self.s.sendall(("GET /api/v1/events HTTP/1.1\r\nHost: 127.0.0.1\r\n%s\r\n" % more).encode())
        self.start()

    def run(self):
        f = self.s.makefile("rb")
        try:
            self.status = int(f.readline().split()[1])
            while f.readline() not in (b"\r\n", b""):
                pass
            text = b""
            while True:  # chunked
                size = int(f.readline().strip() or b"0", 16)
                if size == 0:
                    break
                text += f.read(size)
                f.readline()
                while b"\n\n" in text:
                    block, text = text.split(b"\n\n", 1)
                    e = dict(line.split(": ", 1) for line in block.decode().splitlines() if ": " in line and not line.startswith(":"))
                    if "event" in e:
                        self.events.append((e["event"], e.get("id"), json.loads(e["data"])))
        except (OSError, ValueError, IndexError):
            pass
        self.over = True

    def ids(self):
        return [i for _, i, _ in list(self.events) if i]

    def stop(self):
        try:
            self.s.shutdown(socket.SHUT_RDWR)
        except OSError:
            pass
        self.s.close()


def until(what, seconds, why):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if what():
            return
        time.sleep(0.02)
    raise AssertionError(why() if callable(why) else why)


# ---- claims ------------------------------------------------------------------------------------------------------------------------------------

def the_table_in_c_and_the_description_say_the_same(b):
    table = json.loads(subprocess.run([os.path.join(b.build, "tipplaned"), "--routes"], check=True, capture_output=True).stdout)
    have = {r["operation"]: (r["method"], r["path"], r["role"], r["cost"], r["body_max"], r["key"]) for r in table}
    assert len(have) == len(table), "an operation stands twice in the table"
    want = {}
    for path, item in b.document["paths"].items():
        for method, o in item.items():
            if method in ("get", "put", "post", "delete", "patch"):
                want[o["operationId"]] = (method.upper(), path, o["x-role"], o["x-cost"], o["x-body-max"], o.get("x-key", False))
                assert ("requestBody" in o) == (o["x-body-max"] > 0), "%s: x-body-max and requestBody disagree" % o["operationId"]
                assert ({"token": []} in o.get("security", [])) == (o["x-role"] not in ("none", "watch")), "%s: security and x-role disagree" % o["operationId"]
                names = [b.shapes.resolve(p) for p in item.get("parameters", []) + o.get("parameters", [])]
                in_path = sorted(p["name"] for p in names if p["in"] == "path")
                assert in_path == sorted(s[1:].split("}")[0] for s in path.split("/") if s.startswith("{")), "%s: path parameters" % o["operationId"]
    only = ["%s %s" % (k, v) for k, v in have.items() if want.get(k) != v] + ["%s %s" % (k, v) for k, v in want.items() if have.get(k) != v]
    assert not only, "differ: " + "; ".join(only)


def it_is_alive_and_ready(b):
    for path in ("/healthz", "/readyz", API + "/station", API + "/runs", API + "/recipes", API + "/alarms", API + "/audit"):
        status, head, body = b.call("GET", path)
        assert status == 200, "%s: %d %s" % (path, status, body)
        b.fits(path, status, body)
        assert head["x-content-type-options"] == "nosniff" and head["x-request-id"]


def the_page_comes_with_a_tight_policy(b):
    status, head, body = b.call("GET", "/")
    assert status == 200 and head["content-type"].startswith("text/html"), (status, head)
    policy = head["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy and "frame-ancestors 'none'" in policy, policy
    assert "unsafe" not in policy
    status, head, again = b.call("GET", "/", headers={"If-None-Match": head["etag"]})
    assert status == 304 and not again
    status, _, described = b.call("GET", "/openapi.yaml")
    assert described == programs.load(os.path.join(programs.REPO, "schema/openapi.yaml"))
    for name in sorted(os.listdir(os.path.join(programs.REPO, "client/web"))):
        if name.rsplit(".", 1)[-1] in ("html", "js", "css", "svg"):
            status, _, body = b.call("GET", "/" + name)
            assert status == 200 and len(body) > 0, name


def a_recipe_is_kept_explained_and_planned(b):
    sha = hashlib.sha256(b.recipe).hexdigest()
    path = API + "/recipes/{sha256}"
    for want in (201, 200):
        status, _, body = b.call("PUT", API + "/recipes/" + sha, b.recipe, token=True)
        assert status == want, (status, body)
        b.fits(path, status, body, "put")
    status, head, body = b.call("GET", API + "/documents/" + sha)
    assert status == 200 and body == b.recipe and head["etag"] == '"%s"' % sha
    status, _, body = b.call("POST", API + "/recipes/explain", b.recipe)
    assert status == 200 and b"touch" in body
    status, _, body = b.call("POST", API + "/recipes/plan?wafer=W9", b.recipe)
    assert status == 200, body
    b.fits(API + "/recipes/plan", status, body, "post")
    assert json.loads(body)["station"] == "the station that answers"
    status, _, body = b.call("PUT", API + "/recipes/" + sha, b.recipe + b" ", token=True)
    assert status == 422 and sha[:12].encode() in body


def two_posts_with_one_key_begin_one_run(b):
    sha, key, answers = hashlib.sha256(b.recipe).hexdigest(), "one-key-for-two-posts", []
    def post():
        answers.append(b.call("POST", API + "/runs", {"recipe": sha, "wafer": "W1", "lot": "L7"}, token=True, key=key))
    threads = [threading.Thread(target=post) for _ in range(4)]
    [t.start() for t in threads], [t.join() for t in threads]
    until(lambda: b.call("GET", API + "/commands/" + key, token=True)[2].find(b'"status":201') > 0, 10, "no answer is kept")
    status, head, body = b.call("POST", API + "/runs", {"recipe": sha, "wafer": "W1", "lot": "L7"}, token=True, key=key)
    assert status == 201, (status, body)
    b.run = json.loads(body)["run"]
    assert head["location"] == API + "/runs/" + b.run
    assert all(a[0] in (201, 202) and (a[0] == 202 or a[2] == body) for a in answers), answers
    assert len(b.programs.get(API + "/runs")["runs"]) == 1
    status, _, body = b.call("POST", API + "/runs", {"recipe": sha, "wafer": "W2"}, token=True, key=key)
    assert status == 422 and key.encode() in body
    status, _, body = b.call("POST", API + "/runs", {"recipe": sha, "wafer": "W2"}, token=True, key=True)
    assert status == 409, (status, body)
    b.fits(API + "/runs", status, body, "post")


def a_stream_survives_the_daemon_and_misses_nothing(b):
    a = Listener(b.programs.port)
    until(lambda: len(a.ids()) > 5, 30, "no events")
    b.programs.kill("daemon")
    until(lambda: a.over, 10, "the stream did not break")
    last = a.ids()[-1]
    b.programs.start("daemon")
    b.programs.wait_api()
    c = Listener(b.programs.port, last)
    until(lambda: len(c.ids()) > 5, 30, "no events after the restart")
    assert c.events[0][0] != "reset", c.events[:2]
    numbers = [int(i.split(".")[1]) for i in a.ids()[1:] + c.ids()]
    c.stop()
    d = Listener(b.programs.port, a.ids()[0])  # the same stretch once more, from the store alone
    until(lambda: len(d.ids()) >= len(numbers), 30, "the replay is shorter")
    replay = [int(i.split(".")[1]) for i in d.ids()][:len(numbers)]
    assert numbers == sorted(set(numbers)), "out of order or twice: %s" % numbers
    assert numbers == replay, "heard %s, kept %s" % (numbers, replay)
    assert len(set(i.split(".")[0] for i in c.ids())) >= 1 and c.ids()[-1].split(".")[0] != last.split(".")[0], "the epoch did not change"
    d.stop()
    e = Listener(b.programs.port, "1.999999999")
    until(lambda: e.events, 10, "no reset")
    assert e.events[0][0] == "reset", e.events
    e.stop()


def commands_reach_the_run(b):
    path = API + "/runs/" + b.run
    row = b.programs.get(path)
    if row["in_hand"]:
        for do, want in (("pause", ("paused", "stopping", "finished", "ended")), ("resume", ("running", "waiting", "finishing", "finished", "ended"))):
            status, _, body = b.call("POST", path + "/commands", {"do": do, "why": "a test"}, token=True, key=True)
            if status == 409:  # it has ended meanwhile
                break
            assert status in (200, 202), (status, body)
            until(lambda: not b.programs.get(path)["in_hand"] or b.programs.get(path)["progress"]["state"] in want, 30, lambda: str(b.programs.get(path)["progress"]))
    status, _, body = b.call("POST", path + "/commands", {"do": "skip", "die": {"x": 99, "y": 99}}, token=True, key=True)
    assert status in (404, 409), (status, body)
    b.fits(API + "/runs/{run}/commands", status, body, "post")
    row = b.programs.wait_sealed(b.run, 240)
    status, _, body = b.call("POST", path + "/commands", {"do": "pause"}, token=True, key=True)
    assert status == 409 and b.run.encode() in body, (status, body)


def every_answer_fits_its_description(b):
    run = API + "/runs/" + b.run
    for what in ("", "/map", "/devices", "/touchdowns", "/journal", "/checks", "/intervals", "/calibrations", "/ribbon", "/yield", "/parameters.json", "/sweeps"):
        status, _, body = b.call("GET", run + what)
        assert status == 200, (what, status, body[:300])
        b.fits(API + "/runs/{run}" + what, status, body)
    n = b.programs.get(run + "/sweeps?use=device")["sweeps"][0]["n"]
    status, _, body = b.call("GET", run + "/sweeps/%d" % n)
    b.fits(API + "/runs/{run}/sweeps/{n}", status, body)


def budgets_say_whose_each_cause_is(b):
    budgets = [p["budget"] for p in b.programs.get(API + "/runs/" + b.run + "/parameters.json")["parameters"] if p["value"] is not None]
    assert budgets
    for x in budgets:
        assert set(x["scopes"]) == {"touch", "reading", "shared"} and abs(sum(x["scopes"].values()) - 100) < 0.16, x
        for scope, share in x["scopes"].items():
            assert sum(x.get(scope, {}).values()) < share + 3.5, x  # six shares at most, each rounded to one per cent
    assert any(x["scopes"]["touch"] > 0 for x in budgets) and any(x["scopes"]["shared"] > 0 for x in budgets)


def yield_is_counted_as_the_map_and_the_values_say(b):
    run = API + "/runs/" + b.run
    y, dies, values, devices = (b.programs.get(run + what) for what in ("/yield", "/map", "/parameters.json", "/devices"))
    limited = {d["name"] for d in devices["devices"] if any(p["low"] is not None or p["high"] is not None for p in d["parameters"])}
    good = judged = 0
    for die in dies["dies"]:
        of = [d for d in die["devices"] if d["name"] in limited]
        verdicts = [d["verdict"] for d in of if d["outcome"] in ("measured", "doubtful")]
        bad = any(v == "fail" for v in verdicts)
        judged += bad or (len(verdicts) == len(of) and any(v != "none" for v in verdicts))
        good += not bad and len(verdicts) == len(of) and "marginal" not in verdicts and "pass" in verdicts
    assert (y["dies"]["good"], y["dies"]["n"]) == (good, judged) and judged > 0, (y["dies"], good, judged)
    z, n, p = 1.959963984540054, judged, good / judged  # Newcombe 1998, method 3, written here anew
    half, middle = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n)), p + z * z / (2 * n)
    assert all(abs(a - b) < 1e-12 for a, b in zip(y["dies"]["wilson"], ((middle - half) / (1 + z * z / n), (middle + half) / (1 + z * z / n)))), y["dies"]
    for q in y["quantities"]:
        last = {}
        for v in values["parameters"]:
            if (v["device"], v["quantity"], v["condition"]) == (q["device"], q["quantity"], q["condition"]):
                last[v["die"]["x"], v["die"]["y"]] = v["value"]
        x = sorted(v for v in last.values() if v is not None)
        assert q["values"] == len(x) and q["measuring_known"], q
        if x:
            assert math.isclose(q["median"], statistics.median(x), rel_tol=1e-12), q
        if len(x) > 1:
            assert math.isclose(q["s"], statistics.stdev(x), rel_tol=1e-6) and q["s_without_measuring"] < q["s"], q
    status, head, _ = b.call("GET", run + "/yield")
    assert b.call("GET", run + "/yield", headers={"If-None-Match": head["etag"]})[0] == 304


def a_number_says_how_sure_its_verdict_is(b):
    """JCGM 106:2012, 7.4, by Python's own error function: Pc of the stated value and u95; the guard band of one limit is 1.6449 u."""
    run = API + "/runs/" + b.run
    devices, rows = b.programs.get(run + "/devices")["devices"], b.programs.get(run + "/parameters.json")["parameters"]
    plans = {(d["name"], p["name"]): p for d in devices for p in d["parameters"]}
    judged = 0
    for r in rows:
        plan, u = plans[r["device"], r["quantity"]], (r["u95"] or 0) / 2
        low, high = plan["low"], plan["high"]
        if r["value"] is None or (low is None and high is None):
            assert r["conformance"] is None and r["guard_band"] is None, r
            continue
        phi = lambda z: math.erfc(-z / math.sqrt(2)) / 2
        over, under = (0 if high is None else phi((r["value"] - high) / u)), (0 if low is None else phi((low - r["value"]) / u))
        assert abs(r["conformance"] - (1 - over - under)) < 1e-12, (r, plan)
        if plan["acceptance"] == "guarded":
            by_it = "pass" if r["conformance"] >= 1 - plan["risk"] else "fail" if r["conformance"] <= plan["risk"] else "marginal"
            assert r["verdict"] == by_it, (r, plan)
            if low is None or high is None or high - low > 20 * u:
                assert math.isclose(r["guard_band"], statistics.NormalDist().inv_cdf(1 - plan["risk"]) * u, rel_tol=1e-9), (r, plan)
        judged += 1
    assert judged > 10, judged


def the_journal_comes_in_pages_and_whole(b):
    path, seqs = API + "/runs/" + b.run + "/journal?limit=37", []
    while path:
        status, head, body = b.call("GET", path)
        assert status == 200, body
        seqs += [e["seq"] for e in json.loads(body)["entries"]]
        link = head.get("link", "")
        path = link.split(">")[0][1:] if 'rel="next"' in link else None
    assert len(seqs) > 37 and seqs == sorted(set(seqs)), "%d entries" % len(seqs)
    notes = b.programs.get(API + "/runs/" + b.run + "/journal?phase=note")["entries"]
    assert notes[0]["body"]["note"] == "run_started" and all(e["phase"] == "note" for e in notes)


def csv_and_json_are_the_same_numbers(b):
    run = API + "/runs/" + b.run
    rows = list(csv.DictReader(io.StringIO(b.call("GET", run + "/parameters.csv")[2].decode(), newline="")))
    want = b.programs.get(run + "/parameters.json")["parameters"]
    assert len(rows) == len(want) > 0
    for r, w in zip(rows, want):
        assert (int(r["die_x"]), int(r["die_y"]), r["device"], r["quantity"], r["verdict"]) == (w["die"]["x"], w["die"]["y"], w["device"], w["quantity"], w["verdict"])
        assert all((r[k] == "" and w[k] is None) or float(r[k]) == w[k] for k in ("value", "conformance", "guard_band")), (r, w)
    device = want[0]["device"]
    some = b.programs.get(run + "/parameters.json?device=" + device)["parameters"]
    assert some and all(p["device"] == device for p in some) and len(some) < len(want) + 1


def networks_agree_in_both_forms(b):
    run = API + "/runs/" + b.run
    sweeps = [s for s in b.programs.get(run + "/sweeps?use=device")["sweeps"] if s["contact"] == "good" and s["kind"] not in ("open", "short")]
    assert sweeps
    for tips in (0, 1):
        n, query = sweeps[0]["n"], "?deembedded=%d" % tips
        status, head, s2p = b.call("GET", run + "/sweeps/%d/network.s2p%s" % (n, query))
        if status == 422 and tips == 1:
            continue  # this recipe gives the device no dummies
        assert status == 200, s2p
        assert b.run.encode() in s2p and b"calibration" in s2p, s2p[:400]
        lines = [list(map(float, l.split())) for l in s2p.decode().splitlines() if l and l[0] not in "!#"]
        table = list(csv.DictReader(io.StringIO(b.call("GET", run + "/sweeps/%d/network.csv%s" % (n, query))[2].decode(), newline="")))
        assert len(lines) == len(table) > 2
        for l, t in zip(lines, table):  # a two-port line is f S11 S21 S12 S22
            assert [l[0], l[1], l[2], l[3], l[4], l[5], l[6], l[7], l[8]] == [float(t[k]) for k in
                ("freq_hz", "s11_re", "s11_im", "s21_re", "s21_im", "s12_re", "s12_im", "s22_re", "s22_im")]
            assert all(math.isfinite(x) for x in l)
    standard = b.programs.get(run + "/sweeps?use=standard")["sweeps"][0]["n"]
    status, _, body = b.call("GET", run + "/sweeps/%d/network.s2p" % standard)
    assert status == 409 and b"standard" in body, (status, body)


def traces_are_the_stored_bytes(b):
    run = API + "/runs/" + b.run
    n = b.programs.get(run + "/sweeps?use=device")["sweeps"][0]["n"]
    points = b.programs.get(run + "/sweeps/%d" % n)["points"]
    status, head, body = b.call("GET", run + "/sweeps/%d/traces/S21" % n)
    assert status == 200 and head["x-dtype"] in ("c64le", "c128le", "c64be", "c128be"), head
    size = 8 if head["x-dtype"].startswith("c64") else 16
    assert len(body) == points * size
    status, _, body = b.call("GET", run + "/sweeps/%d/traces/S99" % n)
    assert status == 404 and b"S99" in body


def the_sealed_file_is_its_own_tag(b):
    run = API + "/runs/" + b.run
    row = b.programs.get(run)
    status, head, body = b.call("GET", run + "/file")
    assert status == 200 and hashlib.sha256(body).hexdigest() == row["file_sha256"] and head["etag"] == '"%s"' % row["file_sha256"]
    path = os.path.join(b.programs.folder, "downloaded.run")
    with open(path, "wb") as f:
        f.write(body)
    db = sqlite3.connect("file:%s?mode=ro&immutable=1" % path, uri=True)
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert db.execute("PRAGMA application_id").fetchone()[0] == 0x54504C52
    status, _, body = b.call("GET", run + "/file", headers={"If-None-Match": head["etag"]})
    assert status == 304 and not body
    status, head, body = b.call("HEAD", run + "/file")
    assert status == 200 and not body and int(head["content-length"]) > 1000


def the_map_of_a_sealed_run_is_its_files_however_often(b):
    run = API + "/runs/" + b.run
    until(lambda: not b.programs.get(run)["in_hand"], 30, "the run stays in hand")
    path = os.path.join(b.programs.folder, "map.run")
    with open(path, "wb") as f:
        f.write(b.call("GET", run + "/file")[2])
    db = sqlite3.connect("file:%s?mode=ro&immutable=1" % path, uri=True)
    stored = db.execute("SELECT map FROM state").fetchone()[0].encode()
    assert len(stored) > 100
    tags = set()
    for _ in range(3):  # the first from disk, the others from memory
        status, head, body = b.call("GET", run + "/map")
        assert status == 200 and body == stored and head["content-type"] == "application/json", (status, body[:200])
        tags.add(head["etag"])
    assert len(tags) == 1, tags
    status, head, body = b.call("HEAD", run + "/map")
    assert status == 200 and not body and int(head["content-length"]) == len(stored) and head["etag"] in tags


def nothing_changed_is_not_sent(b):
    for path in (API + "/station", API + "/runs/" + b.run, API + "/runs/" + b.run + "/map", API + "/runs/" + b.run + "/devices"):
        for _ in range(20):  # the station's snapshot may move on between two questions
            status, head, body = b.call("GET", path)
            assert status == 200 and head["etag"], path
            status, _, body = b.call("GET", path, headers={"If-None-Match": '"other", ' + head["etag"]})
            if status == 304:
                break
        assert status == 304 and not body, (path, status)


def metrics_parse_and_hold_no_names(b):
    status, head, body = b.call("GET", "/metrics")
    assert status == 200 and "version=0.0.4" in head["content-type"]
    seen, typed = set(), {}
    for line in body.decode().splitlines():
        if line.startswith("# TYPE "):
            typed[line.split()[2]] = line.split()[3]
        elif not line.startswith("#"):
            name, value = line.rsplit(" ", 1)
            assert name not in seen, "twice: " + name
            seen.add(name)
            float(value)
            assert name.split("{")[0] in typed, "no TYPE: " + name
    assert any(n.startswith("tipplane_http_requests_total") for n in seen) and b.run.encode() not in body and b"W1" not in body
    assert all(t != "counter" or n.endswith("_total") for n, t in typed.items())


def refused_before_anything_is_done(b):
    token, port = b.programs.token(), b.programs.port
    asks = [
        ("GET", API + "/runs", None, {"Host": "evil.example"}, 403), ("GET", API + "/runs", None, {"Authorization": "Bearer tpl_nonsense"}, 401),
        ("POST", API + "/runs", b"{}", {"Authorization": "Bearer " + token, "Idempotency-Key": "12345678", "Origin": "http://evil.example"}, 403),
        ("POST", API + "/runs", b"{}", {"Authorization": "Bearer " + token, "Idempotency-Key": "12345678", "Content-Type": "text/plain"}, 415),
        ("POST", API + "/runs", b"{}", {"Idempotency-Key": "12345678"}, 401), ("POST", API + "/runs", b"{}", {"Authorization": "Bearer " + token}, 400),
        ("PUT", API + "/recipes/" + "0" * 64, b"{" + b" " * 2200000 + b"}", {"Authorization": "Bearer " + token}, 413),
        ("POST", API + "/runs", b" " * 5000, {"Authorization": "Bearer " + token, "Idempotency-Key": "12345678"}, 413), ("GET", API + "/nothing", None, {}, 404),
    ]
    for method, path, body, head, want in asks:
        try:
            status, _, answer = b.call(method, path, body, head)
        except OSError as e:  # the door may close on a long body while we still write
            assert want == 413, (path, e)
            continue
        assert status == want, (method, path, head, status, answer)
        problem = json.loads(answer)
        assert not b.shapes.wrong(problem, {"$ref": "#/components/schemas/Problem"}), problem
        assert len(problem["detail"]) > 20 and problem["status"] == want


def ambiguous_headers_are_refused(b):
    good = b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n"
    assert b.raw(good).startswith(b"HTTP/1.1 200")
    bad = [
        b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: localhost\r\n\r\n", b"POST /api/v1/recipes/plan HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 2\r\nContent-Length: 3\r\n\r\n{}",
        b"POST /api/v1/recipes/plan HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n{}",
        b"POST /api/v1/recipes/plan HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: gzip\r\n\r\n{}", b"GET /healthz HTTP/1.1\r\nHost : 127.0.0.1\r\n\r\n",
        b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length\t: 5\r\n\r\n", b"GET /healthz HTTP/1.1\r\n\r\n", b"NONSENSE\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
    ]
    for data in bad:
        answer = b.raw(data + b"", 3, close_write=True)
        status = answer.split(b" ")[1] if answer.startswith(b"HTTP/1.") else b""
        assert status in (b"", b"400", b"411", b"413", b"422", b"501"), (data, answer[:200])
    assert b.call("GET", "/healthz")[0] == 200


def a_body_too_long_without_a_length_is_cut_off(b):
    head = ("POST /api/v1/runs HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer %s\r\nIdempotency-Key: 12345678\r\nContent-Type: application/json\r\n"
            "Transfer-Encoding: chunked\r\n\r\n" % b.programs.token()).encode()
    chunk = b"1000\r\n" + b" " * 4096 + b"\r\n"
    begin = time.monotonic()
    try:
        answer = b.raw(head + chunk * 2000 + b"0\r\n\r\n", 5)
    except OSError:
        answer = b""
    assert not answer or b" 413 " in answer.split(b"\r\n")[0], answer[:200]
    assert time.monotonic() - begin < 10 and b.call("GET", "/healthz")[0] == 200


def fifty_viewers_hear_the_same(b):
    listeners = [Listener(b.programs.port) for _ in range(50)]
    until(lambda: all(l.events for l in listeners), 20, "not all were greeted")
    times = []
    for _ in range(200):
        t = time.monotonic()
        assert b.call("GET", API + "/station")[0] == 200
        times.append(time.monotonic() - t)
    b.programs.start_run(b.recipe, "W2")
    until(lambda: all(len(l.ids()) > 10 for l in listeners), 60, lambda: "heard %s" % sorted(len(l.ids()) for l in listeners))
    # Who came a moment later was greeted by a later event: compared is what all of them were there for.
    number = lambda i: int(i.decode().split(".")[1] if isinstance(i, bytes) else i.split(".")[1])
    since = max(number(l.ids()[0]) for l in listeners)
    heard = [[i for i in l.ids() if number(i) > since][:6] for l in listeners]
    assert len(heard[0]) == 6 and all(h == heard[0] for h in heard), heard[:3]
    until(lambda: b"tipplane_http_streams 50\n" in b.call("GET", "/metrics")[2], 40, "not 50 streams: one that has gone is still counted")
    [l.stop() for l in listeners]
    until(lambda: b"tipplane_http_streams 0\n" in b.call("GET", "/metrics")[2], 40, "streams that have gone are still counted")
    print("   station's state with 50 viewers: median %.1f ms, worst of 200 %.1f ms (new connection each)" % (1e3 * sorted(times)[100], 1e3 * max(times)))


def a_live_file_is_a_whole_copy(b):
    row = b.programs.get(API + "/runs?limit=1")["runs"][0]
    status, head, body = b.call("GET", API + "/runs/%s/file" % row["id"])
    assert status == 200, body[:300]
    path = os.path.join(b.programs.folder, "live.run")
    with open(path, "wb") as f:
        f.write(body)
    db = sqlite3.connect("file:%s?mode=ro&immutable=1" % path, uri=True)
    assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok" and db.execute("SELECT count(*) FROM journal").fetchone()[0] > 0
    left = [n for _, _, names in os.walk(b.programs.data_dir) for n in names if ".copy-" in n]
    assert not left, "copies were left behind: %s" % left


def safe_is_obeyed_with_proof(b):
    status, _, body = b.call("POST", API + "/station/safe", {"why": "a test"}, token=True, timeout=30)
    assert status in (200, 202), (status, body)
    b.fits(API + "/station/safe", status, body, "post")
    until(lambda: b.programs.get(API + "/station")["separated"] == "known" and b.programs.get(API + "/station")["bias_off"] == "known", 20,
          lambda: "not safe: %s" % b.programs.get(API + "/station"))
    proof = json.loads(body)["state"]
    where = lambda s: (s["x_um"], s["y_um"], s["z_um"])
    until(lambda: where(b.programs.get(API + "/station")) == where(proof), 5, lambda: "proven at %s, shown %s" % (proof, b.programs.get(API + "/station")))
    end = time.monotonic() + 1.5  # nobody resumes it: what was on its way when it was asked for must not move the probes
    while time.monotonic() < end:
        now = b.programs.get(API + "/station")
        assert now["separated"] == "known" and not now["in_contact"] and now["bias_off"] == "known", "it moved after it was proven safe: %s" % now
        assert where(now) == where(proof), "it moved after it was proven safe: %s" % now
        time.sleep(0.02)


def roles_hold_over_http(b):
    made = {}
    for role in ("watch", "operate", "engineer"):
        status, _, body = b.call("POST", API + "/tokens", {"person": role + "-1", "role": role}, token=True)
        assert status == 201, body
        b.fits(API + "/tokens", status, body, "post")
        made[role] = json.loads(body)["token"]
    sha = hashlib.sha256(b.recipe).hexdigest()
    assert b.call("PUT", API + "/recipes/" + sha, b.recipe, token=made["operate"])[0] == 403
    assert b.call("PUT", API + "/recipes/" + sha, b.recipe, token=made["engineer"])[0] == 200
    status, _, body = b.call("POST", API + "/station/safe", {}, token=made["watch"])
    assert status == 403 and json.loads(body)["role"] == "operate"
    assert b.call("POST", API + "/tokens", {"person": "x", "role": "watch"}, token=made["engineer"])[0] == 403
    secrets = [t.encode() for t in made.values()]
    for _, _, names in os.walk(b.programs.data_dir):
        for n in names:
            path = os.path.join(b.programs.data_dir, n)
            if os.path.exists(path) and n != "token":
                assert not any(s in programs.load(path) for s in secrets), "a token's secret lies in " + n


def it_stops_in_order_with_viewers_and_a_run(b):
    listeners = [Listener(b.programs.port) for _ in range(5)]
    until(lambda: all(l.events for l in listeners), 20, "not greeted")
    begin = time.monotonic()
    status = b.programs.stop(60)
    assert status == {"daemon": 0, "station": 0}, (status, b.programs.tail("daemon"))
    until(lambda: all(l.over for l in listeners), 5, "a stream did not end")
    assert time.monotonic() - begin < 30


CLAIMS = [the_table_in_c_and_the_description_say_the_same, it_is_alive_and_ready, the_page_comes_with_a_tight_policy, a_recipe_is_kept_explained_and_planned,
          two_posts_with_one_key_begin_one_run, a_stream_survives_the_daemon_and_misses_nothing, commands_reach_the_run, every_answer_fits_its_description, budgets_say_whose_each_cause_is, a_number_says_how_sure_its_verdict_is, yield_is_counted_as_the_map_and_the_values_say,
          the_journal_comes_in_pages_and_whole, csv_and_json_are_the_same_numbers, networks_agree_in_both_forms, traces_are_the_stored_bytes, the_sealed_file_is_its_own_tag,
          the_map_of_a_sealed_run_is_its_files_however_often, nothing_changed_is_not_sent, metrics_parse_and_hold_no_names, refused_before_anything_is_done, ambiguous_headers_are_refused, a_body_too_long_without_a_length_is_cut_off,
          roles_hold_over_http, fifty_viewers_hear_the_same, a_live_file_is_a_whole_copy, safe_is_obeyed_with_proof, it_stops_in_order_with_viewers_and_a_run]


def main():
    p = argparse.ArgumentParser()
    p.add_argument("--build", default="build/debug")
    p.add_argument("--only", help="a part of a claim's name; those before it still run")
    a = p.parse_args()
    passed, failed = 0, 0
    try:
        import yaml  # noqa: F401
    except ImportError:
        print("skipped: python3-yaml is not installed; apt-get install python3-yaml")
        print("0 passed, 0 failed, %d skipped" % len(CLAIMS))
        return 0
    with tempfile.TemporaryDirectory(prefix="tipplane-api-") as folder:
        b = Bench(os.path.abspath(a.build), folder)
        try:
            for claim in CLAIMS:
                begin = time.monotonic()
                try:
                    claim(b)
                    passed += 1
                    print("ok   %-60s %5.1f s" % (claim.__name__.replace("_", " "), time.monotonic() - begin), flush=True)
                except Exception:
                    failed += 1
                    print("FAIL %s\n%s" % (claim.__name__.replace("_", " "), traceback.format_exc(limit=-2)), flush=True)
        finally:
            if failed:
                print("daemon's last lines:\n" + b.programs.tail("daemon"))
            b.programs.abandon()
    print("%d passed, %d failed, 0 skipped" % (passed, failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
