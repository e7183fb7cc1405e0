"""A headless Chromium, driven over its own debugging pipe: nothing but the standard library is needed."""

import base64
import contextlib
import json
import os
import subprocess
import tempfile

FLAGS = [
    "--headless", "--remote-debugging-pipe", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars",
]  # fmt: skip


class Page:
    """One tab. Events that arrive while a command waits for its answer are kept in `events`."""

    def __init__(self, to_browser, from_browser):
        self.to_browser, self.from_browser = to_browser, from_browser
        self.session, self.last, self.events = None, 0, []

    def message(self):
        text = bytearray()
        while (byte := self.from_browser.read(1)) != b"\0":
            if not byte:
                raise RuntimeError("the browser has gone")
            text += byte
        return json.loads(text)

    def call(self, method, **params):
        self.last += 1
        call = {"id": self.last, "method": method, "params": params}
        if self.session:
            call["sessionId"] = self.session
        self.to_browser.write(json.dumps(call).encode() + b"\0")
        self.to_browser.flush()
        while True:
            message = self.message()
            if message.get("id") == self.last:
                if "error" in message:
                    raise RuntimeError(f"{method}: {message['error']['message']}")
                return message["result"]
            self.events.append(message)

    def wait_for(self, event):
        while not any(e.get("method") == event for e in self.events):
            self.events.append(self.message())

    def evaluate(self, script):
        answer = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(f"in the page: {answer['exceptionDetails']}")
        return answer["result"].get("value")

    def open(self, url, width, height, phone, scheme):
        """Loads `url` afresh as a screen of that width would show it."""
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=phone
        )
        self.call("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        self.events = []
        self.call("Page.navigate", url=url)
        self.wait_for("Page.loadEventFired")

    def picture(self, path, whole):
        shot = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(shot["data"]))


@contextlib.contextmanager
def chromium(program):
    """A tab of a fresh browser, which ends with the block."""
    commands, answers = os.pipe(), os.pipe()
    flags = FLAGS + (["--no-sandbox"] if os.geteuid() == 0 else [])
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as home:
        # The pipe's two ends must be file descriptors 3 and 4 of the browser.
        shell = f'exec "$@" 3<&{commands[0]} 4>&{answers[1]}'
        process = subprocess.Popen(
            ["bash", "-c", shell, "browser", program, *flags, f"--user-data-dir={home}", "about:blank"],
            pass_fds=(commands[0], answers[1]), stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(commands[0])
        os.close(answers[1])
        try:
            with os.fdopen(commands[1], "wb") as to_browser, os.fdopen(answers[0], "rb") as from_browser:
                page = Page(to_browser, from_browser)
                target = page.call("Target.createTarget", url="about:blank")["targetId"]
                page.session = page.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
                for domain in ("Page", "Runtime", "Log", "Network"):
                    page.call(f"{domain}.enable")
                yield page
        finally:
            process.terminate()
            process.wait(timeout=30)
