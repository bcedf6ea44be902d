"""Samples to pulls: stretches under load, their landmarks, and the step at the release.

* `finder`        one sample at a time: where the cell is loaded and let go
* `group`, `shape`, `edge`, `manners`   which stretches are pulls, and how they were made
* `heads`         the reader for each kind of tension head
* `lockout`, `constant_pull`, `drop_weight`   the fall at the release, head by head
* `measured`      what is handed on
"""
