"""What NiceGUI's simulation runs: the page over the desk that a test holds out."""

from fastapi import FastAPI

from sweep.page import mount
from tests.page_visit import HELD

if HELD:  # nobody visits where tests are merely collected
    mount(FastAPI(), HELD[-1], secret="of a test")
