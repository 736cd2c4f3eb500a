"""Memory comes from few places, however many threads ask for it."""

import platform
import subprocess
import sys

import pytest

from server.allocator import ARENAS

#: Threads that hold memory at the same time, then how many arenas the C library says it has.
COUNTED = """
import ctypes, tempfile, threading
from server import allocator
if {limited}:
    assert allocator.few_arenas()
libc = ctypes.CDLL(None)
libc.malloc.restype = ctypes.c_void_p
meet = threading.Barrier(12)
def hold():
    libc.malloc(50_000)
    meet.wait()
threads = [threading.Thread(target=hold) for _ in range(12)]
[one.start() for one in threads]
[one.join() for one in threads]
libc.fopen.restype = ctypes.c_void_p
with tempfile.NamedTemporaryFile() as said:
    file = libc.fopen(said.name.encode(), b"w")
    libc.malloc_info(0, ctypes.c_void_p(file))
    libc.fclose(ctypes.c_void_p(file))
    print(said.read().decode().count("<heap nr="))
"""


def arenas(*, limited: bool) -> int:
    program = COUNTED.replace("{limited}", str(limited))
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    return int(done.stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="other C libraries have no arenas to limit")
def test_threads_share_few_arenas() -> None:
    assert arenas(limited=False) > ARENAS
    assert arenas(limited=True) <= ARENAS
