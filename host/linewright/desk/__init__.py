"""The desk: Linewright's page in the browser. This package handles HTTP, WebSocket and page state; the tasks do the
work.

Each user action arrives as an event (`events`), changes the sheet (`history`, `edits`) or uses the machine (`machine`),
and leaves as part of one plain value (`screen`). Worker processes compute strokes and plans (`workers`). `guard`
controls access. docs/DESK.md describes the protocol.
"""
