"""A server that speaks S3, as a process on this computer: a double for tests, with nothing behind it but memory."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pytest

from tests.batch.machines import free_port

BUCKET = "shop"


@dataclass
class S3Server:
    """A running server; `url` is where it answers."""

    url: str
    process: subprocess.Popen[bytes]

    @cached_property
    def client(self) -> Any:
        """Another program that speaks S3, so that nothing is checked by itself."""
        import boto3

        return boto3.client("s3", endpoint_url=self.url)

    def get(self, name: str) -> bytes:
        """Return an object."""
        return bytes(self.client.get_object(Bucket=BUCKET, Key=name)["Body"].read())

    def put(self, name: str, data: bytes) -> None:
        """Write an object, over another if need be."""
        self.client.put_object(Bucket=BUCKET, Key=name, Body=data)

    def names(self, prefix: str) -> list[str]:
        """Return the names of the objects that begin with `prefix`."""
        return [one["Key"] for one in self.client.list_objects_v2(Bucket=BUCKET, Prefix=prefix).get("Contents", ())]

    def stop(self) -> None:
        """End the server at once."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
        self.process.wait()


@contextmanager
def s3_server(patch: pytest.MonkeyPatch) -> Iterator[S3Server]:
    """Give a server with one bucket, and an environment that leads there."""
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONWARNINGS": ""},
    )  # fmt: skip
    server = S3Server(f"http://127.0.0.1:{port}", process)
    surroundings = {
        "AWS_ENDPOINT_URL": server.url, "AWS_ACCESS_KEY_ID": "invented", "AWS_SECRET_ACCESS_KEY": "not-a-secret",
        "AWS_REGION": "us-east-1",
    }  # fmt: skip
    for name, value in surroundings.items():
        patch.setenv(name, value)
    try:
        _wait_for(server)
        yield server
    finally:
        server.stop()


def _wait_for(server: S3Server) -> None:
    for _ in range(300):
        try:
            with socket.create_connection(("127.0.0.1", int(server.url.rpartition(":")[2])), 1):
                break
        except OSError:
            time.sleep(0.1)
    server.client.create_bucket(Bucket=BUCKET)
