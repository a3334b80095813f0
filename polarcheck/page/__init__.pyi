from .addresses import local_addresses
from .qr_code import qr_lines
from .server import PageServer

__all__ = ["PageServer", "local_addresses", "qr_lines"]
