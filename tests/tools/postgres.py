"""A throw-away PostgreSQL server on a socket in a temporary folder, run by a user without rights."""

import os
import pwd
import shutil
import subprocess
import tempfile
import uuid
from pathlib import Path

BIN = max(Path("/usr/lib/postgresql").glob("*/bin/initdb"), default=Path("none/initdb")).parent


class Cluster:
    """One server with its data; `database` makes an empty database and returns its address."""

    def __init__(self):
        # A short path, for that of a socket is limited.
        self.folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
        self._user = {}
        if os.geteuid() == 0:
            # The server refuses to run as root; the package makes this user for it.
            user = pwd.getpwnam("postgres")
            os.chown(self.folder, user.pw_uid, user.pw_gid)
            self._user = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
        self._run("initdb", "-D", self.folder / "data", "-U", "postgres", "-A", "trust", "--locale=C.UTF-8")
        self.start()

    def start(self):
        options = f"-c listen_addresses='' -c unix_socket_directories={self.folder}"
        self._run(
            "pg_ctl", "-D", self.folder / "data", "-w", "-l", self.folder / "log", "-o", options, "start"
        )

    def stop(self, mode="immediate"):
        self._run("pg_ctl", "-D", self.folder / "data", "-w", "-m", mode, "stop")

    def database(self):
        name = f"book_{uuid.uuid4().hex}"
        self._run("createdb", "-h", self.folder, "-U", "postgres", name)
        return f"postgresql://postgres@/{name}?host={self.folder}"

    def remove(self):
        self.stop()
        shutil.rmtree(self.folder)

    def _run(self, program, *arguments):
        done = subprocess.run(
            [BIN / program, *map(str, arguments)],
            cwd="/",
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
            **self._user,
        )
        assert done.returncode == 0, done.stderr
