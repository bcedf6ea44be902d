"""Where the rooms are joined: live, replayed and rebuilt sittings are the same calls.

* `sitting`   bytes, arrivals and notes in; pulls and answers out
* `windows`   checks, hold tests and other tests inside a sitting
* `judge`     a measured pull and its place make a `Pull`
* `answers`   the pinned JSON object of a recording
* `replay`    recordings to answers and into the database
* `live`      a port to a recording, and what is found while it grows
"""
