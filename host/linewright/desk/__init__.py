"""The desk: the maker's page in the browser. HTTP, WebSocket and what is on screen; the work is done by the tasks.

Every wish of a page comes in as an event (`events`), changes what lies on the sheet (`history`, `edits`) or asks the
machine (`machine`), and goes out as a part of one plain value (`screen`). Processes of their own make strokes and plans
(`workers`). Who may come in is `guard`'s. What passes is written down in docs/DESK.md.
"""
