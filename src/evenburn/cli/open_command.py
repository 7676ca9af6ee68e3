"""`evenburn open`: the book in the browser of this computer."""

from __future__ import annotations

import os
import threading
import webbrowser
from typing import Annotated

import typer


def open_book(
    *,
    port: Annotated[
        int | None,
        typer.Option(
            "--port", min=1, max=65535, metavar="N", help="Port to listen on. Default: the first free one from 8460."
        ),
    ] = None,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the address.")] = False,
    book: Annotated[
        str | None,
        typer.Option(
            "--book",
            metavar="PATH|URL",
            help="Folder of the book, or URL of a PostgreSQL database. Default: EVENBURN_BOOK, else your data folder.",
        ),
    ] = None,
) -> None:
    """Open the bench book in the browser of this computer; Ctrl-C closes it."""
    from evenburn.services.book.open_book import open_book_at
    from evenburn.web.serving import own_socket, serve

    listening = own_socket(port)
    opened = open_book_at(book)

    def ready(address: str) -> None:
        print(f"{opened.name} is open at {address}", flush=True)
        print("Ctrl-C closes it.", flush=True)
        if not no_browser and os.environ.get("BROWSER", "?") != "":
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()

    serve(opened, listening=listening, ready=ready)
    print("closed; the book is as you left it", flush=True)
