#!/usr/bin/env python3
"""The real tipplane-station as a process of its own, spoken to byte by byte: the frame is built here from its description, not by our C code.

A daemon (this script) brings the simulated station down on the wafer with bias on and dies; the station makes itself safe.  The station is killed in the same
state and started again; it makes safe what it finds.  A second station is refused.  Usage: two_processes.py [path of tipplane-station]
"""
import json, os, signal, socket, struct, subprocess, sys, tempfile, time

STATION = sys.argv[1] if len(sys.argv) > 1 else "build/debug/tipplane-station"
(HELLO, RENEW, SETUP, STEP, DID, ACK, RELEASE, CLEAR, SAFE, WELCOME, REFUSED, TRACE, RESULT, DID_REPLY, EVENT, SAFE_DONE, STATUS) = range(1, 18)

TABLE = []
for i in range(256):
    c = i
    for _ in range(8):
        c = (c >> 1) ^ (0x82F63B78 if c & 1 else 0)   # CRC-32C, reflected (RFC 3720, 12.1)
    TABLE.append(c)


def crc32c(data):
    c = 0xFFFFFFFF
    for b in data:
        c = TABLE[(c ^ b) & 0xFF] ^ (c >> 8)
    return c ^ 0xFFFFFFFF


class Daemon:
    step_id = 1 << 32

    def __init__(self, path, epoch=None):
        self.s = socket.socket(socket.AF_UNIX)
        self.s.settimeout(20)
        self.s.connect(path)
        self.epoch = 0
        if epoch is not None:
            self.greet(epoch)

    def send(self, kind, body="", step=0):
        body = body.encode()
        head = b"TPLN" + struct.pack("<BBHIIQI", 1, kind, 0, self.epoch, len(body), step, 0)
        self.s.sendall(head + struct.pack("<I", crc32c(head + b"\0\0\0\0" + body)) + body)

    def exactly(self, n):
        got = b""
        while len(got) < n:
            piece = self.s.recv(n - len(got))
            if not piece:
                raise EOFError
            got += piece
        return got

    def receive(self, want):
        while True:
            head = self.exactly(32)
            _, _, kind, _, _, n, step, _, crc = struct.unpack("<4sBBHIIQII", head)
            body = self.exactly(n)
            assert crc == crc32c(head[:28] + b"\0\0\0\0" + body), "CRC of frame kind %d" % kind
            if kind == EVENT:
                self.walks = json.loads(body)["walks"]
            if kind == want:
                return json.loads(body) if body and kind != TRACE else body
            if kind == REFUSED:
                raise AssertionError("refused: " + body.decode())

    def greet(self, epoch):
        for _ in range(5):
            self.epoch = epoch
            self.send(HELLO, json.dumps({"build": "test", "epoch": epoch}))
            self.welcome = self.receive(WELCOME)["welcome"]
            self.walks = self.welcome["walks"]
            if self.welcome["granted"]:
                return
            epoch = self.welcome["epoch"] + 1
        raise AssertionError("never granted")

    def step(self, kind, **args):
        Daemon.step_id += 1   # an id is met once, ever
        self.send(STEP, json.dumps(dict(args, kind=kind, walks=self.walks)), self.step_id)
        result = self.receive(RESULT)
        assert result["code"] == "ok", "%s: %s" % (kind, result["text"])
        self.send(ACK, step=self.step_id)
        return result

    def in_contact_and_biased(self):
        for kind, args in (("inventory", {}), ("safe", {}), ("home", {}), ("align", {"place": "wafer"}), ("move", {"place": "wafer", "x_um": 0, "y_um": 0}),
                           ("lower", {"overtravel_um": 30})):
            result = self.step(kind, **args)
        assert result["state"]["in_contact"]
        result = self.step("bias_on", channel=0, volt=10, limit_a=0.5)
        assert abs(result["volt"] - 10) < 0.5, result


def start(folder, *more):
    p = subprocess.Popen([STATION, "--config", "simulators/demo/station.json", "--socket", folder + "/s", "--log", folder + "/log", "--world", folder + "/world", *more],
                         stderr=open(folder + "/stderr", "a"))
    return p


def wait_up(folder, p):
    for _ in range(1000):
        assert p.poll() is None, "the station ended with %d: %s" % (p.returncode, open(folder + "/stderr").read())
        try:
            socket.socket(socket.AF_UNIX).connect(folder + "/s")
            return
        except OSError:
            time.sleep(0.01)
    raise AssertionError("the station does not listen")


def taken_over(folder, began):
    """A new daemon; it may come before the station has heard that the old one is gone, and asks again as the real one does."""
    while True:
        try:
            return Daemon(folder + "/s", 1)
        except AssertionError as refused:
            if "another daemon holds the station" not in str(refused) or time.monotonic() - began > 5:
                raise
            time.sleep(0.05)


def check_safe(state):
    assert state["separated"] == "known" and state["bias_off"] == "known" and abs(state["volt_max"]) < 0.5 and not state["latched"], state


def main():
    passed = 0
    with tempfile.TemporaryDirectory() as folder:
        p = start(folder)
        try:
            wait_up(folder, p)

            d = Daemon(folder + "/s", 1)
            d.in_contact_and_biased()
            began = time.monotonic()
            d.s.close()                                      # as a SIGKILL leaves it
            d = taken_over(folder, began)                    # answered when the ladder is done
            took = time.monotonic() - began
            check_safe(d.welcome["state"])
            assert d.welcome["last"]["what"] == "lease" and d.welcome["last"]["proven_safe"], d.welcome
            assert took < 5, took
            print("ok: the daemon died in contact with bias on; proven safe after %.3f s" % took)
            passed += 1

            d.in_contact_and_biased()
            operator = Daemon(folder + "/s")
            operator.send(SAFE)
            done = operator.receive(SAFE_DONE)
            assert done["proven_safe"], done
            check_safe(done["state"])
            while d.walks < done["walks"]:   # the daemon hears of it, too; what it sends before that is refused
                d.receive(EVENT)
            print("ok: safe from a second connection")
            passed += 1

            second = subprocess.run([STATION, "--config", "simulators/demo/station.json", "--socket", folder + "/s", "--log", folder + "/log2"], capture_output=True, text=True)
            assert second.returncode == 4 and str(p.pid) in second.stderr, (second.returncode, second.stderr)
            print("ok: a second station is refused: " + second.stderr.strip())
            passed += 1

            d.in_contact_and_biased()
            p.kill()
            p.wait()
            p = start(folder)
            wait_up(folder, p)
            d = Daemon(folder + "/s", 1)
            check_safe(d.welcome["state"])
            assert d.welcome["last"]["what"] == "boot" and d.welcome["boot_count"] == 2, d.welcome
            print("ok: the station was killed in contact with bias on; the next one proved it safe before it listened")
            passed += 1

            d.in_contact_and_biased()
            p.send_signal(signal.SIGTERM)
            assert p.wait(20) == 0
            lines = [json.loads(line) for line in open(folder + "/log")]
            last = [line["event"] for line in lines if "event" in line][-1]
            assert last["proven_safe"] and last["text"].startswith("the station is being stopped"), last
            print("ok: SIGTERM in contact: ladder, proof in the log, exit 0")
            passed += 1
        finally:
            if p.poll() is None:
                p.kill()
                p.wait()
    print("%d passed, 0 failed, 0 skipped" % passed)


if __name__ == "__main__":
    main()
