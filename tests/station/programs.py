"""programs.py: the real programs under test: starts them on fresh folders and free loopback ports, speaks to the API, starts again what dies, as `tipplane up` does.

Used by the other scripts here.  Only processes started here are ever signalled, by their pid.  Debian's python3 alone, no packages.
"""
import contextlib, http.client, json, os, hashlib, signal, socket, sqlite3, subprocess, sys, tempfile, threading, time, uuid

REPO = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
DEMO = os.path.join(REPO, "simulators/demo")
TINY = (os.path.join(REPO, "tests/nights/tiny.json"), os.path.join(REPO, "tests/nights/tiny.scenario.json"))
WIDE = (os.path.join(DEMO, "recipe.json"), os.path.join(DEMO, "scenario.json"))


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def load(path):
    with open(path, "rb") as f:
        return f.read()


class Programs:
    """One station and one daemon on a folder.  supervise() starts either again when it dies; hold(name) keeps it down."""

    def __init__(self, build, folder, scenario=WIDE[1], seed=7, station=None, data=None, daemon_command=(), station_command=(), env=None, limits=None):
        self.build, self.folder, self.data_dir = os.path.abspath(build), folder, os.path.join(folder, "data")
        self.world, self.socket = os.path.join(folder, "world"), os.path.join(folder, "s")
        self.station_log, self.port, self.recorded = os.path.join(folder, "station.log"), free_port(), data
        self.daemon_command, self.station_command, self.env = list(daemon_command), list(station_command), dict(os.environ, **(env or {}))
        self.p, self.started, self.guard, self.ending, self.thread, self.held, self.token_text = {}, {"daemon": 0, "station": 0}, threading.RLock(), False, None, set(), None
        os.makedirs(folder, exist_ok=True)
        if station is None:
            station = os.path.join(folder, "station.json")
            with open(station, "w") as f:
                json.dump({"name": "under test", "driver": "simulated", "config": {"scenario": scenario, "seed": seed}, "limits": limits or {}}, f)
        self.station_file = station

    def command(self, name):
        if name == "station":
            more = ["--data", self.recorded] if self.recorded else []
            return self.station_command + [os.path.join(self.build, "tipplane-station"), "--config", self.station_file, "--socket", self.socket,
                                           "--log", self.station_log, "--world", self.world] + more
        return self.daemon_command + [os.path.join(self.build, "tipplaned"), "--data", self.data_dir, "--station", "unix:" + self.socket,
                                      "--listen", "127.0.0.1:%d" % self.port, "--name", "under-test"]

    def start(self, name):
        with self.guard:
            with open(os.path.join(self.folder, name + ".stderr"), "ab") as err:
                self.p[name] = subprocess.Popen(self.command(name), stdout=err, stderr=err, env=self.env, cwd=REPO)
            self.started[name] += 1
        return self.p[name]

    def up(self):
        self.start("station")
        self.start("daemon")
        self.wait_api()
        return self

    def is_gone(self):
        return not self.thread and self.p["daemon"].poll() is not None

    def wait_api(self, seconds=60, connected=True):
        until, why = time.monotonic() + seconds, "no answer"
        while time.monotonic() < until:
            try:
                status, _, body = self.call("GET", "/api/v1/station")
                if status == 200 and (not connected or json.loads(body)["connected"]):
                    return
                why = body
            except OSError as e:
                why = e
            if self.is_gone():
                break
            time.sleep(0.02)
        raise AssertionError("the API does not answer with a connected station: %s\n%s" % (why, self.tail("daemon")))

    def tail(self, name, lines=12):
        try:
            with open(os.path.join(self.folder, name + ".stderr"), errors="replace") as f:
                return "".join(f.readlines()[-lines:])
        except OSError:
            return ""

    def supervise(self):
        def turn():
            while not self.ending:
                with self.guard:
                    for name in ("station", "daemon"):
                        if name not in self.held and not self.ending and name in self.p and self.p[name].poll() is not None:
                            self.start(name)
                time.sleep(0.02)
        self.thread = threading.Thread(target=turn, daemon=True)
        self.thread.start()
        return self

    def runs(self, name):
        return self.p[name].poll() is None

    def kill(self, *names, sig=signal.SIGKILL):
        with self.guard:  # the supervisor starts the next one only afterwards
            victims = [self.p[name] for name in names if self.p[name].poll() is None]
            for p in victims:
                os.kill(p.pid, sig)
        if sig == signal.SIGKILL:
            for p in victims:
                p.wait()

    def stop(self, seconds=60):
        """In order: the daemon parks the station, then the station.  Returns their exit statuses."""
        self.ending = True
        if self.thread:
            self.thread.join()
            self.thread = None
        status = {}
        for name in ("daemon", "station"):
            p = self.p.get(name)
            if not p:
                continue
            if p.poll() is None:
                os.kill(p.pid, signal.SIGCONT)
                os.kill(p.pid, signal.SIGTERM)
            try:
                status[name] = p.wait(seconds)
            except subprocess.TimeoutExpired:
                os.kill(p.pid, signal.SIGKILL)
                p.wait()
                status[name] = "did not stop within %d s of SIGTERM" % seconds
        self.ending = False
        self.p = {}
        return status

    def abandon(self):
        """Whatever still runs is killed; for the way out of a failed test."""
        self.ending = True
        if self.thread:
            self.thread.join()
            self.thread = None
        for p in self.p.values():
            if p.poll() is None:
                os.kill(p.pid, signal.SIGKILL)
                p.wait()

    # ---- the API ----
    def token(self):
        if not self.token_text:
            self.token_text = load(os.path.join(self.data_dir, "token")).decode().strip()
        return self.token_text

    def call(self, method, path, body=None, headers=None, token=False, key=False, timeout=20):
        h = dict(headers or {})
        if isinstance(body, (dict, list)):
            body = json.dumps(body).encode()
        if body is not None and "Content-Type" not in h:
            h["Content-Type"] = "application/json"
        if token:
            h["Authorization"] = "Bearer " + (token if isinstance(token, str) else self.token())
        if key:
            h["Idempotency-Key"] = key if isinstance(key, str) else uuid.uuid4().hex
        c = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        try:
            c.request(method, path, body, h)
            r = c.getresponse()
            return r.status, dict((k.lower(), v) for k, v in r.getheaders()), r.read()
        except http.client.HTTPException as e:
            raise OSError("%s %s: %r" % (method, path, e)) from None
        finally:
            c.close()

    def get(self, path, busy_s=5):
        """Parsed JSON; 503 is asked again, as its Retry-After says."""
        until = time.monotonic() + busy_s
        status, _, body = self.call("GET", path)
        while status == 503 and time.monotonic() < until:
            time.sleep(0.1)
            status, _, body = self.call("GET", path)
        assert status == 200, "GET %s: %d %s" % (path, status, body[:400])
        return json.loads(body)

    def put_recipe(self, body):
        sha = hashlib.sha256(body).hexdigest()
        status, _, answer = self.call("PUT", "/api/v1/recipes/" + sha, body, token=True)
        assert status in (200, 201), "PUT recipe: %d %s" % (status, answer.decode())
        return sha

    def start_run(self, recipe_body, wafer="W1"):
        sha = self.put_recipe(recipe_body)
        status, _, answer = self.call("POST", "/api/v1/runs", {"recipe": sha, "wafer": wafer}, token=True, key=True)
        assert status == 201, "POST run: %d %s" % (status, answer.decode())
        return json.loads(answer)["run"]

    def wait_sealed(self, run, seconds=300, each=None):
        """each(row): called with what the API says of the run, a few times a second."""
        until, row = time.monotonic() + seconds, None
        while time.monotonic() < until:
            try:
                row = self.get("/api/v1/runs/" + run)
                if each:
                    each(row)
                if row["state"] == "sealed" and row["file_sha256"] and not row["in_hand"]:
                    return row
            except OSError:
                pass
            time.sleep(0.05)
        raise AssertionError("run %s is not sealed after %d s: %s\n%s" % (run, seconds, json.dumps(row)[:1500], self.tail("daemon")))

    def database(self, run=None):
        """The catalogue or a sealed run file, when no daemon has it open."""
        path = os.path.join(self.data_dir, "catalogue.db")
        if run:
            with contextlib.closing(sqlite3.connect("file:%s?immutable=1" % path, uri=True)) as c:
                path = os.path.join(self.data_dir, c.execute("SELECT path FROM run WHERE id=?", (run,)).fetchone()[0])
        return sqlite3.connect("file:%s?immutable=1" % path, uri=True)


class UpPrograms(Programs):
    """The same, with `tipplane up` as the supervisor: the programs are its children, found by their parent, and killed by their pid."""

    def __init__(self, build, folder, scenario=WIDE[1], seed=7, **more):
        super().__init__(build, folder, scenario, seed, **more)
        self.data_dir = os.path.join(folder, "d")
        self.world, self.socket, self.station_log = (os.path.join(self.data_dir, n) for n in ("world", "station.sock", "station.log"))
        self.supervisor = None

    def up(self):
        with open(os.path.join(self.folder, "up.out"), "ab") as out:
            self.supervisor = subprocess.Popen([os.path.join(self.build, "tipplane"), "up", "--station-config", self.station_file, "--data", self.data_dir,
                                                "--listen", "127.0.0.1:%d" % self.port, "--name", "under-test"], stdout=out, stderr=out, env=self.env, cwd=REPO)
        self.wait_api()
        return self

    def supervise(self):
        return self

    def tail(self, name, lines=12):
        try:
            with open(os.path.join(self.data_dir, name + ".out"), errors="replace") as f:
                return "".join(f.readlines()[-lines:])
        except OSError:
            return ""

    def pid(self, name):
        """Of the child that runs now; None between two lives."""
        program = {"daemon": "tipplaned", "station": "tipplane-station"}[name]
        try:
            with open("/proc/%d/task/%d/children" % (self.supervisor.pid, self.supervisor.pid)) as f:
                children = f.read().split()
            for child in children:
                with open("/proc/%s/stat" % child) as f:
                    stat = f.read()
                if stat[stat.index("(") + 1:stat.rindex(")")] == program[:15] and stat[stat.rindex(")") + 2] not in "ZX":
                    return int(child)
        except (OSError, ValueError):
            pass
        return None

    def runs(self, name):
        return self.pid(name) is not None

    def is_gone(self):
        return self.supervisor.poll() is not None

    def kill(self, *names, sig=signal.SIGKILL):
        for name in names:
            pid = self.pid(name)
            if pid:
                os.kill(pid, sig)

    def stop(self, seconds=60):
        os.kill(self.supervisor.pid, signal.SIGTERM)
        try:
            status = self.supervisor.wait(2 * seconds)
        except subprocess.TimeoutExpired:
            status = "did not stop within %d s of SIGTERM" % (2 * seconds)
        left = [n for n in ("daemon", "station") if self.runs(n)]
        self.supervisor = self.supervisor if left else None
        return {"daemon": status, "station": "still runs" if left else 0}

    def abandon(self):
        if self.supervisor and self.supervisor.poll() is None:
            pids = [self.pid(n) for n in ("daemon", "station")]
            os.kill(self.supervisor.pid, signal.SIGKILL)
            self.supervisor.wait()
            for pid in pids:
                if pid:
                    os.kill(pid, signal.SIGKILL)


class Count:
    """ok() and fail() print one line each; the last line and the exit status count them."""

    def __init__(self):
        self.passed = self.failed = self.skipped = 0

    def ok(self, text):
        self.passed += 1
        print("ok: " + text, flush=True)

    def fail(self, text):
        self.failed += 1
        print("FAILED: " + text, flush=True)

    def check(self, true, text, detail=""):
        if true:
            self.ok(text)
        else:
            self.fail("%s%s" % (text, ": " + str(detail) if detail != "" else ""))
        return true

    def end(self):
        print("%d passed, %d failed, %d skipped" % (self.passed, self.failed, self.skipped))
        sys.exit(1 if self.failed else 0)
