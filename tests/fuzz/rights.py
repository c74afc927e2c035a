"""Give up the right of root to read and write whatever it likes, so that file modes bind."""

from __future__ import annotations

import ctypes
import os
import sys

_DROP_FROM_BOUND = 24
"""PR_CAPBSET_DROP of prctl(2)."""
_CAPABILITIES_VERSION_3 = 0x20080522
_OVERRIDE = (1, 2)
"""CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH of capabilities(7)."""


def modes_can_bind() -> bool:
    """Tell whether `let_modes_bind` can work on this system."""
    return os.name == "posix" and (os.geteuid() != 0 or sys.platform == "linux")


def let_modes_bind() -> None:
    """Make file modes bind in this process and those it starts, even for root; for good."""
    if os.geteuid() != 0:
        return
    libc = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(_CAPABILITIES_VERSION_3, 0)
    # Effective, permitted and inheritable rights, for capabilities 0 to 31 and 32 on.
    rights = (ctypes.c_uint32 * 6)()
    for capability in _OVERRIDE:
        if libc.prctl(_DROP_FROM_BOUND, capability, 0, 0, 0):
            raise OSError(ctypes.get_errno(), "rights cannot be given up")
    if libc.capget(header, rights):
        raise OSError(ctypes.get_errno(), "rights cannot be read")
    for capability in _OVERRIDE:
        for which in range(3):
            rights[which] &= ~(1 << capability)
    if libc.capset(header, rights):
        raise OSError(ctypes.get_errno(), "rights cannot be given up")
