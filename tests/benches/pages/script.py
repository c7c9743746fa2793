"""The worklist one would write: what was refused lately, from the ledger's file."""
import html, json, sqlite3, sys
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

LAST = "SELECT body FROM event ORDER BY position DESC LIMIT 2000"


class Page(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def do_GET(self):
        base = sqlite3.connect(f"file:{sys.argv[2]}?mode=ro", uri=True)
        bodies = [json.loads(body) for (body,) in base.execute(LAST)]
        base.close()
        lines = "".join(f"<li>{html.escape(json.dumps(body))}</li>" for body in bodies[:40])
        page = f"<!doctype html><title>Worklist</title><ol>{lines}</ol>".encode()
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", str(len(page)))
        self.end_headers()
        self.wfile.write(page)

    def log_message(self, *_):
        pass


ThreadingHTTPServer(("127.0.0.1", int(sys.argv[1])), Page).serve_forever()
