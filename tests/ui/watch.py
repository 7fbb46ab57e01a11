"""What goes wrong in a browser while somebody works: errors, and requests to other hosts."""

from playwright.sync_api import ConsoleMessage, Page, Response


def watch(page: Page, faults: list[str]) -> None:
    """Collect what goes wrong on a page, and every request to another server."""
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.on("console", lambda m: faults.append(m.text) if _is_fault(m) else None)
    page.on("request", lambda r: faults.append(r.url) if _is_foreign(r.url) else None)
    page.on("response", lambda r: faults.append(r.url) if _is_missing(r) else None)


def _is_fault(message: ConsoleMessage) -> bool:
    # A failed load is judged by its address below; the message does not name it.
    return message.type == "error" and "Failed to load resource" not in message.text


def _is_foreign(url: str) -> bool:
    return not url.startswith(("http://localhost:", "blob:", "data:"))


def _is_missing(response: Response) -> bool:
    # Opened below its root, the page tries "records/_stcore/…" before "_stcore/…".
    return response.status >= 400 and "/_stcore/" not in response.url
