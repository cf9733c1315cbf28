"""The seed hour in a real browser: from intake to hand-over at phone and tablet size.

A wrong fluid is held, the page is reloaded in the middle, two tabs work on one job, the line is cut during a fill;
every page is held to the rules of WCAG 2.0 to 2.2 A and AA by axe-core in both lights, must not be wider than the
screen, and must leave nothing in the browser's console. Pictures go to out/bench.

Usage: hour.py PROGRAM. Needs chromedriver and Chromium, and `npm ci` in this folder. Only Python's own library: the
browser is spoken to by W3C WebDriver.
"""

import base64
import json
import pathlib
import struct
import subprocess
import sys
import tempfile
import time
import tomllib
import urllib.error
import urllib.request
import zlib
from datetime import datetime, timedelta, timezone

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parent.parent
SHOTS = ROOT / "out" / "bench"
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
AXE = (HERE / "node_modules" / "axe-core" / "axe.min.js").read_text()


def call(method, url, body=None):
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(url, data, {"content-type": "application/json"}, method=method)
    try:
        with urllib.request.urlopen(request, timeout=60) as reply:
            return json.load(reply)["value"]
    except urllib.error.HTTPError as e:
        raise AssertionError(f"{url}: {json.load(e)['value']['message'].splitlines()[0]}") from None


def started(command, mark):
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    for line in process.stdout:
        if mark in line:
            return process, line
    raise SystemExit(f"{command[0]} ended before it listened")


class Hands:
    def __init__(self, driver, base, size, width, height):
        self.base, self.size, self.problems = base, size, []
        options = {
            "args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--lang=en"],
            "mobileEmulation": {"deviceMetrics": {"width": width, "height": height, "pixelRatio": 1.0}},
        }
        asked = {"goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}
        session = call("POST", f"{driver}/session", {"capabilities": {"alwaysMatch": asked}})
        self.url = f"{driver}/session/{session['sessionId']}"

    def go(self, path):
        call("POST", f"{self.url}/url", {"url": self.base + path})

    def run(self, script, *args):
        return call("POST", f"{self.url}/execute/sync", {"script": script, "args": list(args)})

    def wait(self, script, *args):
        return call("POST", f"{self.url}/execute/async", {"script": script, "args": list(args)})

    def find(self, css, seconds=5.0):
        end = time.monotonic() + seconds
        while True:
            found = call("POST", f"{self.url}/elements", {"using": "css selector", "value": css})
            if found:
                return found[0]
            assert time.monotonic() < end, f"{css} is not on {self.here()}"
            time.sleep(0.05)

    def click(self, css):
        element = self.find(css)
        self.run("arguments[0].scrollIntoView({block: 'center'})", element)
        call("POST", f"{self.url}/element/{element[ELEMENT]}/click", {})

    def press(self, css):
        """Touches a button and waits until the next page is there."""
        self.run("window.stale = true")
        self.click(css)
        self.turned(css)

    def turned(self, what):
        end = time.monotonic() + 15
        while True:
            try:
                if self.run("return !window.stale && document.readyState === 'complete'"):
                    return
            except AssertionError:
                pass
            assert time.monotonic() < end, f"{what} led nowhere from {self.here()}: {self.sheet()}"
            time.sleep(0.05)

    def type(self, css, text):
        element = self.find(css)[ELEMENT]
        call("POST", f"{self.url}/element/{element}/clear", {})
        call("POST", f"{self.url}/element/{element}/value", {"text": text})

    def tick(self, css):
        self.run("arguments[0].click()", self.find(css))

    def choose(self, css, value):
        self.run("arguments[0].value = arguments[1]", self.find(css), value)

    def here(self):
        return call("GET", f"{self.url}/url").removeprefix(self.base)

    def sheet(self):
        return self.run("return document.getElementById('sheet').innerText")

    def sees(self, words):
        assert words in self.sheet(), f"{words!r} is not on {self.here()}:\n{self.sheet()}"

    def confirm(self, interlock):
        self.press(f"form:has(input[value='{interlock}']) button")

    def done(self):
        self.press("form:has(input[value=step_done]) button")

    def fetch(self, path, body=None):
        return self.wait(
            """const [path, body, done] = arguments;
            fetch(path, body ? { method: 'POST', headers: { 'content-type': 'application/json' },
                                 body: JSON.stringify(body) } : {}).then(r => r.json()).then(done)""",
            path,
            body,
        )

    def looked_at(self, name):
        """A picture, and the rules."""
        wide = self.run("return document.documentElement.scrollWidth - document.documentElement.clientWidth")
        if wide > 0:
            self.problems.append(f"{name}, {self.size}: {wide} px wider than the screen")
        for theme in ("light", "dark"):
            self.run("document.documentElement.dataset.theme = arguments[0]", theme)
            picture = base64.b64decode(call("GET", f"{self.url}/screenshot"))
            (SHOTS / f"{name}-{self.size}-{theme}.png").write_bytes(picture)
            self.run(AXE)
            found = self.wait(
                """const done = arguments[arguments.length - 1];
                axe.run({ runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] })
                  .then(r => done(r.violations.map(v => v.id + ': ' + v.nodes.map(n =>
                    n.target.join(' ') + ' ' + n.failureSummary.replaceAll('\\n', ' ')).slice(0, 3).join(' | '))))
                  .catch(e => done([String(e)]))"""
            )
            self.problems += [f"{name}, {self.size}, {theme}: {f}" for f in found]
        self.run("delete document.documentElement.dataset.theme")

    def console(self, expected):
        """What the browser complained of, beside the answers that this hour provokes."""
        for entry in call("POST", f"{self.url}/se/log", {"type": "browser"}):
            if entry["level"] == "SEVERE" and not any(e in entry["message"] for e in expected):
                self.problems.append(f"console, {self.size}: {entry['message']}")


def picture():
    rows = b"".join(b"\0" + bytes((x + y) % 251 for x in range(320)) for y in range(240))
    out = b"\x89PNG\r\n\x1a\n"
    head = struct.pack(">IIBBBBB", 320, 240, 8, 0, 0, 0, 0)
    for name, body in ((b"IHDR", head), (b"IDAT", zlib.compress(rows)), (b"IEND", b"")):
        out += struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
    return out


def look(h, fluid, lot):
    h.choose("#fluid", fluid)
    h.type("#lot", lot)
    h.type("#expiry", "2099-12-31")
    h.press("button[name=how][value=label]")


def the_hour(h, plate):
    # Who signs: two touches.
    h.go("/")
    h.press(".block .last")
    h.press("button[name=person]")
    h.looked_at("bench")

    h.go("/take-in")
    for field, text in (
        ("plate", plate), ("words", "grey estate, 2.0 diesel"), ("complaint", "Message about additive since Friday"),
        ("odometer_km", "148 212"), ("capacity_l", "2,1"), ("tare_g", "230"), ("volume_l", "2.9"),
        ("displacement_l", "2.0"),
    ):
        h.type(f"#{field}", text)
    for question in ("wrong_fluid", "oil_or_noise", "leak"):
        h.tick(f"input[name='t.{question}'][value=no]")
    h.tick("input[name=reservoir_kind][value=pouch]")
    h.tick("input[name=material][value=silicon_carbide]")
    h.choose("#fluid", "concentrate-cerium-iron")
    h.looked_at("take-in")
    h.press("main form button.go")
    job = "/".join(h.here().split("/")[:3])
    programs = "/api/v1" + job.replace("/job/", "/jobs/")

    # Typed readings: the sentence at the top changes before anything is kept.
    before = h.run("return document.getElementById('answer').innerText")
    for field, text in (("key_on", "0,8"), ("hot_idle", "9.0"), ("held_2500", "48"), ("weighed", "412")):
        h.type(f"#{field}", text)
    end = time.monotonic() + 60
    while h.run("return document.getElementById('answer').innerText") == before:
        assert time.monotonic() < end, "the answer does not change with the readings"
        time.sleep(0.1)
    h.press("form[data-live] button.go")
    h.looked_at("readings")
    for place in ("faults", "ways"):
        h.go(f"{job}/{place}")
        h.looked_at(place)
    h.press(".way button[value=yes]")
    h.tick("input[name='p.refill']")
    h.press("form:has(input[value=planned]) button")

    # Reload in the middle: exactly where it was left.
    h.go(job)
    here = h.here()
    call("POST", f"{h.url}/refresh", {})
    assert h.here() == here
    h.go(f"{job}/steps")
    h.looked_at("steps")
    for step in ("before_readings", "battery_support", "lift_up", "reservoir_down"):
        h.go(f"{job}/step/{step}")
        if step == "battery_support":
            h.confirm("voltage above 12.2 V")
        h.done()
    h.go(f"{job}/step/inspect_pouch")
    h.looked_at("step")
    photo = SHOTS / "pouch.png"
    photo.write_bytes(picture())
    field = h.find("form[enctype] input[type=file]")[ELEMENT]
    call("POST", f"{h.url}/element/{field}/value", {"text": str(photo)})
    h.press("form[enctype] button")
    h.confirm("pouch_dry")
    h.looked_at("step-ready")
    h.done()

    # A wrong bottle is held; the right one wants a second, independent look.
    h.go(f"{job}/step/compare_fluid")
    look(h, "aus-32", "U-7730")
    h.sees("Wrong fluid")
    h.looked_at("wrong-fluid")
    assert not h.run("return document.querySelector('form:has(input[value=step_done])')"), "it can be ticked"
    h.click("details.look summary")
    look(h, "concentrate-cerium-iron", "26-1103")
    h.sees("A second look is owed")
    h.click("details.look summary")
    h.choose("#fluid", "concentrate-cerium-iron")
    h.type("#code", "(17)991231(10)26-1103")
    h.looked_at("second-look")
    h.press("button[name=how][value=scan]")
    h.done()

    # Two tabs on one job: the slower one is told, nothing is mixed.
    h.go(f"{job}/step/fill")
    first = call("GET", f"{h.url}/window")
    second = call("POST", f"{h.url}/window/new", {"type": "tab"})["handle"]
    call("POST", f"{h.url}/window", {"handle": second})
    h.go(f"{job}/step/fill")
    h.confirm("coupling_checked")
    call("DELETE", f"{h.url}/window")
    call("POST", f"{h.url}/window", {"handle": first})
    weigh = "form:has(input[name=at][value=before])"
    h.type(f"{weigh} input[name=gross_g]", "412")
    h.click(f"{weigh} button")
    end = time.monotonic() + 10
    while "Somebody else was here" not in h.sheet():
        assert time.monotonic() < end, "no word of the other tab"
        time.sleep(0.05)
    h.looked_at("conflict")
    h.go(f"{job}/step/fill")
    h.type(f"{weigh} input[name=gross_g]", "412")
    h.press(f"{weigh} button")

    # The line is cut during the fill: the weight stays on the device and is sent later, once.
    h.run("window.line = window.fetch; window.fetch = () => Promise.reject(new TypeError('no line'))")
    h.type("#during", "690,5")
    h.click("form:has(#during) button")
    h.find(".kept-note")
    h.looked_at("line-cut")
    h.run("window.stale = true; window.fetch = window.line; dispatchEvent(new Event('online'))")
    h.turned("the line is back")
    weights = h.fetch(programs)["job"]["weights"]
    assert [w[3] for w in weights] == [412, 690.5], weights
    h.go(f"{job}/step/fill")
    h.looked_at("fill")
    h.confirm("pouch dry on all seams")
    h.type("form:has(input[name=at][value=after]) input[name=gross_g]", "1760")
    h.press("form:has(input[name=at][value=after]) button")
    h.done()

    # Ten minutes are not waited here: the clock is told to have begun eleven minutes ago.
    begun = datetime.now(timezone.utc) - timedelta(minutes=11)
    told = h.fetch(programs + "/facts", {
        "id": f"01890a5d-ac96-774b-bcce-{int(begun.timestamp() * 1000):012x}",
        "by": h.fetch("/api/v1/people")[0]["id"],
        "happened": begun.isoformat(),
        "what": {"kind": "clock_started", "step": "leak_wait", "minutes": 10.0},
    })
    assert "hash" in told, told
    h.go(f"{job}/step/leak_wait")
    h.confirm("dry_after_wait")
    h.done()
    h.go(f"{job}/step/reservoir_up")
    h.done()
    h.go(f"{job}/step/dose_test")
    h.confirm("no bubbles in the line")
    h.done()
    h.go(f"{job}/step/enter_additive_values")
    h.confirm("battery_support")
    h.confirm("the meaning of every question is clear")
    for kind, held in (("values_saved", "210"), ("values_entered", "1825"), ("values_read_back", "1825")):
        h.type("[name='v.held_now']", held)
        if kind == "values_entered":
            h.looked_at("values")
        h.press(f"form:has(input[value={kind}]) button")
    h.done()
    h.go(f"{job}/readings?role=after")
    for field, text in (("key_on", "0,8"), ("hot_idle", "6.0"), ("held_2500", "31")):
        h.type(f"#{field}", text)
    h.press("form[data-live] button.go")
    for step in ("verify", "waste"):
        h.go(f"{job}/step/{step}")
        h.done()
    h.go(f"{job}/proof")
    h.looked_at("proof")
    h.press("form:has(input[value=signed]) button")
    h.press("form:has(input[value=handed_over]) button")
    h.looked_at("hand-over")
    h.sees("26-1103")
    printed = base64.b64decode(call("POST", f"{h.url}/print", {"page": {"width": 21.0, "height": 29.7}}))
    (SHOTS / f"hand-over-{h.size}.pdf").write_bytes(printed)
    pages = printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page/") + printed.count(b"/Type /Page ")
    if pages != 1:
        h.problems.append(f"hand-over, {h.size}: prints on {pages} pages")
    verified = h.fetch("/api/v1/verify")
    assert verified["seals"] > 0, verified

    for path, name in (
        ("/due", "due"), ("/shelf", "shelf"), ("/lot/26-1103", "recall"), ("/find?q=soot", "find"), ("/jobs", "jobs"),
        ("/sources", "sources"), ("/people", "people"), ("/settings", "settings"), ("/export", "export"),
        ("/api", "api"), ("/duty", "duty"), ("/nothing", "not-found"),
    ):
        h.go(path)
        h.looked_at(name)
    h.go("/find?q=152")
    h.press("ul.waits a")
    h.looked_at("car")
    # A car that comes every year: its life is drawn.
    h.go("/find?q=olive")
    h.press("ul.waits a")
    h.sees("Life")
    assert h.run("return document.querySelectorAll('.life svg').length") == 2, "no life is drawn"
    h.looked_at("life")
    life = h.here()
    # A table is sorted by a touch on a head and filtered by a word.
    h.go("/sources")
    h.click("#sheet table:last-of-type th .sortb")
    h.type(".tools input", "zzz")
    h.find(".tools [role=status]:not(:empty)")
    # A number of the workshop's own is checked, kept with its source, and stays in the list.
    h.click("#own summary")
    h.choose("#number", "minutes")
    h.choose("#observation", "dtc_additive_level_low")
    h.type("#value", "3,5")
    h.type("#source", "twenty jobs of this spring, by the clock")
    h.press("#own form button")
    h.sees("twenty jobs of this spring")
    h.go("/")
    h.press(".wait:has(.mk.wax)")
    h.looked_at("locked")
    locked = "/".join(h.here().split("/")[:3])
    h.go(f"{locked}/tag")
    h.looked_at("tag")
    german(h, job, life, locked)
    h.go(f"{job}/recording")
    h.looked_at("recording")
    # The conflict and the page that is not there answer with their status, and the browser says so.
    h.console(["409 (Conflict)", "404 (Not Found)"])


def english():
    """Sentences that a German page must not show: those of the catalogues that have another in German."""
    def read(path):
        lines = (ROOT / path).read_text().splitlines()
        pairs = (line.split(" = ", 1) for line in lines if " = " in line and line[0].islower())
        return {key: value for key, value in pairs}

    out = set()
    for room in ("bench", "app", "additive"):
        en, de = (read(f"crates/{room}/locales/{tag}.ftl") for tag in ("en", "de"))
        out |= {en[k] for k in en if k in de and en[k] != de[k]}
    known = tomllib.loads((ROOT / "crates/bench/locales/knowledge.de.toml").read_text())
    out |= {k for k, v in known.items() if k != v}
    # An example in a form is what this hour types as the car's words.
    out.discard("grey estate, 2.0 diesel")
    return {s for s in out if len(s) > 14 and "{" not in s and "*" not in s}


def german(h, job, life, locked):
    """Every page in German shows no sentence that has German words."""
    h.run("document.cookie = 'lang=de; path=/'")
    sentences = english()
    for path, name in (
        ("/", "bench"), ("/take-in", "take-in"), (life, "life"), (f"{job}/readings", "readings"),
        (f"{job}/faults", "faults"), (f"{job}/ways", "ways"), (f"{job}/steps", "steps"), (f"{job}/step/fill", "fill"),
        (f"{job}/step/enter_additive_values", "values"), (f"{job}/proof", "proof"), (f"{job}/hand-over", "hand-over"),
        (f"{locked}/steps", "locked"), (f"{locked}/tag", "tag"), ("/due", "due"), ("/shelf", "shelf"),
        ("/find?q=ru", "find"), ("/jobs", "jobs"), ("/sources", "sources"), ("/people", "people"),
        ("/settings", "settings"), ("/export", "export"), ("/duty", "duty"),
    ):
        h.go(path)
        text = " ".join(h.run("return document.body.innerText").split())
        found = sorted(s for s in sentences if s in text)
        if found:
            h.problems.append(f"{name}, {h.size}: English on a German page: {found[:3]}")
        picture = base64.b64decode(call("GET", f"{h.url}/screenshot"))
        (SHOTS / f"de-{name}-{h.size}.png").write_bytes(picture)
    h.run("document.cookie = 'lang=en; path=/'")


def main():
    SHOTS.mkdir(parents=True, exist_ok=True)
    problems = []
    driver, line = started(["chromedriver", "--port=0"], "successfully on port")
    port = line.split("on port ")[1].strip().rstrip(".")
    with tempfile.TemporaryDirectory() as folder:
        bench, line = started([sys.argv[1], "demo", "--serve", "--address", "127.0.0.1:0", "--out", folder], "http://")
        base = next(w for w in line.split() if w.startswith("http://")).rstrip("/")
        try:
            for size, plate, width, height in (("phone", "PH 390 N", 390, 844), ("tablet", "TB 768 L", 1024, 768)):
                h = Hands(f"http://127.0.0.1:{port}", base, size, width, height)
                try:
                    the_hour(h, plate)
                except AssertionError as e:
                    problems.append(f"{size}: {e}")
                    shot = base64.b64decode(call("GET", f"{h.url}/screenshot"))
                    (SHOTS / f"failed-{size}.png").write_bytes(shot)
                problems += h.problems
                call("DELETE", h.url)
        finally:
            bench.terminate()
            bench.wait()
            driver.terminate()
            driver.wait()
    for p in problems:
        print(p)
    print(f"{len(list(SHOTS.glob('*.png')))} pictures in {SHOTS.relative_to(HERE.parent.parent)}; {len(problems)} problems")
    sys.exit(bool(problems))


main()
