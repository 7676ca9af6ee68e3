"""The bench book in the browser: read a request, call one service, render. No arithmetic, no SQL."""
