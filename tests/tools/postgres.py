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
    """One server with its data; `place` returns the address of an empty place in it for one book."""

    def __init__(self):
        # A short path, for that of a socket is limited.
        self.folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
        self._user = {}
        if os.geteuid() == 0:
            # The server refuses to run as root; the package makes this user for it.
            user = pwd.getpwnam("postgres")
            os.chown(self.folder, user.pw_uid, user.pw_gid)
            self._user = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
        self._run(
            "initdb", "-D", self.folder / "data", "-U", "postgres", "-A", "trust", "-N", "--locale=C.UTF-8"
        )
        self.start()

    def start(self):
        # Desks are killed here, not the machine: nothing needs to reach the disk.
        options = f"-c listen_addresses='' -c unix_socket_directories={self.folder} -c fsync=off"
        self._run(
            "pg_ctl", "-D", self.folder / "data", "-w", "-l", self.folder / "log", "-o", options, "start"
        )

    def stop(self, mode="immediate"):
        self._run("pg_ctl", "-D", self.folder / "data", "-w", "-m", mode, "stop")

    def sql(self, statement):
        self._run("psql", "-h", self.folder, "-U", "postgres", "-v", "ON_ERROR_STOP=1", "-c", statement)

    def place(self):
        # A schema is made and taken away much faster than a database.
        name = f"book_{uuid.uuid4().hex[:12]}"
        self.sql(f"CREATE SCHEMA {name}")
        return f"postgresql://postgres@/postgres?host={self.folder}&options=-csearch_path%3D{name}"

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
