"""A small IMAP server (RFC 3501) for tests: one mailbox over a real socket, with what the program asks of it."""

import re
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager

USER, PASSWORD = "bounces", "a password of the tests"


class Session(socketserver.StreamRequestHandler):
    server: "Server"

    def handle(self) -> None:
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
            return "OK in" if command == f'LOGIN {USER} "{PASSWORD}"' else "NO [AUTHENTICATIONFAILED] wrong"
        return str(getattr(self, f"do_{word.lower()}", lambda rest: "OK done")(command.partition(" ")[2]))

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

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Session)
        self.mails: dict[int, bytes] = {}
        self.seen: set[int] = set()
        self.commands: list[str] = []

    @property
    def port(self) -> int:
        return int(self.server_address[1])


@contextmanager
def running_mailbox() -> Iterator[Server]:
    with Server() as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join()
