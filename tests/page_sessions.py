"""Sessions at the page without a browser: they speak Streamlit's own messages over a websocket.

A browser a session would measure the browsers, not the page: twenty would not fit in this memory.
What the server is asked, and what it sends, are the same bytes as with a browser.
"""

from __future__ import annotations

import http.cookiejar
import re
import secrets
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import websocket
from page_driver import Served
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.Common_pb2 import FileUploaderState
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

ROOT = Path(__file__).resolve().parents[1]
_LIGHTNESS = re.compile(r"<dt>Lightness</dt><dd>([\d.]+)</dd>")


class Session:
    """One person's session: widgets by label or key, the page's HTML, and how long it took."""

    def __init__(self, served: Served, seconds: float = 240.0) -> None:
        self.served, self.seconds = served, seconds
        jar = http.cookiejar.CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
        self.opener.open(f"{served.url}/_stcore/health", timeout=60).read()
        self.opener.open(f"{served.url}/_stcore/host-config", timeout=60).read()
        self.xsrf = next((c.value for c in jar if "xsrf" in c.name), "")
        cookie = "; ".join(f"{c.name}={c.value}" for c in jar)
        self.socket = websocket.create_connection(
            served.url.replace("http", "ws") + "/_stcore/stream",
            subprotocols=["streamlit", self.xsrf or "none"],
            cookie=cookie or None, origin=served.url, timeout=seconds,
        )  # fmt: skip
        self.kept: dict[str, ForwardMsg] = {}
        self.values: dict[str, Any] = {}
        self.elements: dict[tuple[int, ...], Any] = {}
        self.fragments: dict[str, str] = {}  # of each widget, the part of the page it redraws
        self.changed = ""  # the widget that was moved last
        self.session = ""
        self.page = ""
        self.query = ""  # the address, as the page changes it
        self.first: list[ForwardMsg] = []  # what came before the first run was over

    def close(self) -> None:
        self.socket.close()

    def run(self) -> float:
        """Send the widgets' state, take everything until the run is over; seconds it took."""
        self.elements = {}
        begun = time.monotonic()
        self.ask()
        while True:
            message = self.take()
            # 0 well; 2 means that the run was broken off for another
            if message.WhichOneof("type") == "script_finished" and message.script_finished != 2:
                return time.monotonic() - begun

    def ask(self) -> None:
        """Send the widgets' state."""
        ask = BackMsg()
        ask.rerun_script.query_string = self.query
        ask.rerun_script.page_script_hash = self.page
        ask.rerun_script.fragment_id = self.fragments.get(self.changed, "")
        for name, (kind, value) in self.values.items():
            state = ask.rerun_script.widget_states.widgets.add(id=name)
            if kind in ("double_array_value", "int_array_value", "string_array_value"):
                getattr(state, kind).data.extend(value)
            elif kind == "file_uploader_state_value":
                state.file_uploader_state_value.CopyFrom(value)
            else:
                setattr(state, kind, value)
        # A button is pressed once.
        self.values = {n: v for n, v in self.values.items() if v[0] != "trigger_value"}
        self.socket.send_binary(ask.SerializeToString())

    def take(self) -> ForwardMsg:
        """One message from the server, its elements taken up."""
        message = self._next()
        if not self.session or len(self.first) < 5:
            self.first.append(message)
        kind = message.WhichOneof("type")
        if kind == "new_session":
            self.elements = {}
            self.session = message.new_session.initialize.session_id or self.session
            self.page = message.new_session.page_script_hash
        elif kind == "page_info_changed":
            self.query = message.page_info_changed.query_string
        elif kind == "delta" and message.delta.WhichOneof("type") == "new_element":
            path = tuple(message.metadata.delta_path)
            element = self.elements[path] = message.delta.new_element
            widget = getattr(element, element.WhichOneof("type"))
            if getattr(widget, "id", ""):
                self.fragments[widget.id] = message.delta.fragment_id
        return message

    def answer(self) -> tuple[str, float] | None:
        """The only layer's grain in words and the lightness told of it, once both have come."""
        told, grain = _LIGHTNESS.search(self.html()), None
        for element in self.elements.values():
            body = element.markdown.body if element.WhichOneof("type") == "markdown" else ""
            if "The only layer" in body:
                grain = body.partition(" · ")[2].replace("\\", "")
        return None if told is None or grain is None else (grain, float(told[1]))

    def _next(self) -> ForwardMsg:
        message = ForwardMsg()
        message.ParseFromString(self.socket.recv())
        if message.WhichOneof("type") == "ref_hash":
            kept = ForwardMsg()
            kept.CopyFrom(self.kept[message.ref_hash])
            kept.metadata.CopyFrom(message.metadata)
            return kept
        if message.hash:
            self.kept[message.hash] = message
        return message

    def html(self) -> str:
        found = (e for e in self.elements.values() if e.WhichOneof("type") == "html")
        return "\n".join(e.html.body for e in found)

    def errors(self) -> list[str]:
        """What the page told in red, by itself and beside a field, and anything Streamlit itself
        reports of a fault."""
        told = [e.alert.body for e in self.elements.values()
                if e.WhichOneof("type") == "alert" and e.alert.format == 1]  # fmt: skip
        told += re.findall(r'<p class="wc-error" role="alert">(.*?)</p>', self.html(), re.S)
        faults = [e.exception.message for e in self.elements.values()
                  if e.WhichOneof("type") == "exception"]  # fmt: skip
        return told + [f"EXCEPTION {text}" for text in faults]

    def find(self, key: str) -> Any:
        """The widget that the page knows by ``key``: Streamlit puts it at the end of the id."""
        for element in self.elements.values():
            kind = element.WhichOneof("type")
            widget = getattr(element, kind)
            if getattr(widget, "id", "").endswith(f"-{key}"):
                return widget
        raise LookupError(f"{key} is not on the page")

    def set(self, key: str, kind: str, value: Any) -> None:
        self.values[self.find(key).id] = (kind, value)
        self.changed = self.find(key).id

    def slide(self, key: str, value: float) -> None:
        self.set(key, "double_array_value", [float(value)])

    def choose(self, key: str, label: str) -> None:
        """An entry of a list, or of a row of buttons, by the words it shows."""
        kind = "string_array_value" if hasattr(self.find(key), "click_mode") else "string_value"
        self.set(key, kind, [label] if kind == "string_array_value" else label)

    def press(self, key: str) -> None:
        self.set(key, "trigger_value", True)

    def upload(self, key: str, name: str, data: bytes) -> int:
        """Hand in a file as the page's uploader does; the HTTP status of the upload."""
        widget = self.find(key)
        ask = BackMsg()
        request = secrets.token_hex(8)
        ask.file_urls_request.request_id = request
        ask.file_urls_request.session_id = self.session
        ask.file_urls_request.file_names.append(name)
        self.socket.send_binary(ask.SerializeToString())
        while True:
            message = self._next()
            if (message.WhichOneof("type") == "file_urls_response"
                    and message.file_urls_response.response_id == request):  # fmt: skip
                break
        urls = message.file_urls_response.file_urls[0]
        status = self.put(urls.upload_url, name, data)
        if status < 300:
            state = FileUploaderState()
            state.uploaded_file_info.add(
                file_id=urls.file_id, name=name, size=len(data), file_urls=urls
            )
            self.values[widget.id] = ("file_uploader_state_value", state)
            self.changed = widget.id
        return status

    def put(self, path: str, name: str, data: bytes) -> int:
        """PUT one file to an upload address."""
        mark = secrets.token_hex(12)
        safe = name.replace('"', "%22").encode("utf-8", "replace")
        body = (
            f'--{mark}\r\nContent-Disposition: form-data; name="file"; filename="'.encode()
            + safe
            + b'"\r\nContent-Type: application/octet-stream\r\n\r\n'
            + data
            + f"\r\n--{mark}--\r\n".encode()
        )
        ask = urllib.request.Request(
            f"{self.served.url}{path}", data=body, method="PUT",
            headers={"Content-Type": f"multipart/form-data; boundary={mark}",
                     "X-Xsrftoken": self.xsrf, "Origin": self.served.url},
        )  # fmt: skip
        try:
            with self.opener.open(ask, timeout=self.seconds) as answer:
                return answer.status
        except urllib.error.HTTPError as error:
            return error.code
        except urllib.error.URLError:  # the server closed the door on what is too large
            return 413
