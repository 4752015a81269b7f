"""A phone that reads a long pull as a stream: what came before a break is as good as any."""

import gzip
import json
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from api.sync.lines import pieces
from table.phone import HttpTransport, MemoryStore, Phone, PhoneOptions, RetryPolicy
from table.phone.transport import LINES


@pytest.mark.parametrize("coding", ["gzip", "identity"])
def test_a_phone_goes_on_after_the_last_complete_line(coding):
    asked = []
    pages = [
        {"changes": [], "cursor": cursor, "more": cursor < 3, "scope_token": f"after {cursor}"} for cursor in (1, 2, 3)
    ]

    class Server(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self):
            asked.append(json.loads(gzip.decompress(self.rfile.read(int(self.headers["Content-Length"])))))
            todo = pages[asked[-1]["cursor"] :]
            parts = list(pieces((json.dumps(p).encode() + b"\n" for p in todo), coding))
            self.send_response(200)
            self.send_header("Content-Type", LINES)
            self.send_header("Transfer-Encoding", "chunked")
            self.send_header("Content-Encoding", coding)
            self.end_headers()
            if len(asked) == 1:  # the second line breaks off
                parts = [parts[0], parts[1][: len(parts[1]) // 2]]
            for part in parts:
                self.wfile.write(b"%x\r\n%s\r\n" % (len(part), part))
            self.wfile.write(b"" if len(asked) == 1 else b"0\r\n\r\n")
            self.close_connection = len(asked) == 1

        def log_message(self, *_):
            pass

    with HTTPServer(("127.0.0.1", 0), Server) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        store = MemoryStore()
        store.append({"event": "signed", "token": "t"})
        options = PhoneOptions(retry=RetryPolicy(attempts=1), streams=True)
        with Phone(HttpTransport(f"http://127.0.0.1:{server.server_port}"), store=store, options=options) as phone:
            phone.sync()
        server.shutdown()
    assert [(one["cursor"], one.get("scope_token")) for one in asked] == [(0, None), (1, "after 1")]
    assert store.state.cursor == 3
