"""A small IMAP server (RFC 3501) for tests:
one mailbox over a real socket, with what the program asks of it."""

import re
import socketserver
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

USER = "bounces"
PASSWORD = "a password of the tests"


class Session(socketserver.StreamRequestHandler):
    server: "Server"

    def handle(self) -> None:
        if isinstance(self.request, ssl.SSLSocket):
            self.request.do_handshake()
        self.say("* OK ready")
        for line in self.rfile:
            tag, _, command = line.decode().strip().partition(" ")
            self.server.commands.append(command)
            answer = self.answer(command.removeprefix("UID "))
            self.say(f"{tag} {answer}")
            if command == "LOGOUT":
                return

    def answer(self, command: str) -> str:
        word = command.partition(" ")[0]
        if word == "LOGIN":
            return (
                "OK in"
                if command == f'LOGIN {USER} "{PASSWORD}"'
                else "NO [AUTHENTICATIONFAILED] wrong"
            )
        return str(
            getattr(self, f"do_{word.lower()}", lambda rest: "OK done")(command.partition(" ")[2])
        )

    def do_capability(self, rest: str) -> str:
        self.say("* CAPABILITY IMAP4rev1")
        return "OK done"

    def do_select(self, rest: str) -> str:
        self.say(f"* {len(self.server.mails)} EXISTS")
        return "OK [READ-WRITE] done" if rest == '"INBOX"' else "NO no such mailbox"

    def do_search(self, rest: str) -> str:
        left = [str(uid) for uid in self.server.mails if uid not in self.server.seen]
        self.say(" ".join(["* SEARCH", *left]))
        return "OK done"

    def do_fetch(self, rest: str) -> str:
        found = re.fullmatch(r"(\d+) \(BODY\.PEEK\[\]<0\.(\d+)>\)", rest)
        assert found, rest
        content = self.server.mails[int(found[1])][: int(found[2])]
        head = f"* 1 FETCH (UID {found[1]} BODY[]<0> {{{len(content)}}}\r\n"
        if int(found[1]) in self.server.broken_off:
            self.wfile.write(head.encode() + content[: len(content) // 2])
            raise ConnectionAbortedError
        self.wfile.write(head.encode() + content + b")\r\n")
        return "OK done"

    def do_store(self, rest: str) -> str:
        uid, flags = rest.split(" ", 1)
        assert flags == r"+FLAGS.SILENT (\Seen)"
        self.server.seen.add(int(uid))
        return "OK done"

    def do_logout(self, rest: str) -> str:
        self.say("* BYE")
        return "OK done"

    def say(self, line: str) -> None:
        self.wfile.write(f"{line}\r\n".encode())


class Server(socketserver.ThreadingTCPServer):
    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, certificate: Path | None = None) -> None:
        super().__init__(("127.0.0.1", 0), Session)
        self.certificate = certificate
        self.mails: dict[int, bytes] = {}
        self.broken_off: set[int] = set()  # hangs up in the middle of these
        self.seen: set[int] = set()
        self.commands: list[str] = []

    def get_request(self) -> tuple[Any, Any]:
        """With a certificate TLS from the first byte (RFC 8314);
        each session shakes hands in a thread of its own."""
        connection, address = super().get_request()
        if self.certificate is None:
            return connection, address
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate)
        return (
            context.wrap_socket(connection, server_side=True, do_handshake_on_connect=False),
            address,
        )

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Someone hung up, as the tests want it; nothing to be printed."""

    @property
    def port(self) -> int:
        return int(self.server_address[1])


@contextmanager
def running_mailbox(certificate: Path | None = None) -> Iterator[Server]:
    with Server(certificate) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join()


def make_certificate(path: Path, name: str, *, days: int = 1) -> Path:
    """Key and certificate in one file, signed by itself for the name, such as IP:127.0.0.1;
    run out if days are < 0."""
    key = path.with_suffix(".key")
    made = path.with_suffix(".crt")
    curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    named = ["-subj", "/CN=mailbox of the tests", "-addext", f"subjectAltName={name}"]
    openssl("req", "-x509", *curve, *named, "-keyout", str(key), "-out", str(made))
    openssl("x509", "-in", str(made), "-signkey", str(key), "-days", str(days), "-out", str(path))
    path.write_bytes(key.read_bytes() + path.read_bytes())
    return path


def openssl(*words: str) -> None:
    subprocess.run(["openssl", *words], check=True, capture_output=True)
