"""The bench page: a job from ticket to slip, read at a metre's distance.

* `words`     every text for people, one file a language
* `verdict`   a pull in one word, one number and one sound
* `form`      what stands in the ticket's fields, to a ticket or to what is wrong with it
* `steps`     what is confirmed before and after a job
* `story`     what the notes of a sitting say of the job's stage
* `commands`  a key to the notes that it writes, or to why not
* `drawn`     the string bed and the last trace, as plain values
* `led`       a guided test: check, hold
* `scene`     everything that the page shows, as one object
* `library`   history, checks, clamps, papers
* `clients`   who watches, who drives; each with a queue that cannot grow
* `guard`     which requests are let in
* `app`       the thin shell around these: Starlette

What the operator decides is a note in the recording before it is anything else, and what
the page shows is made from the notes and pulls that were recorded.
"""
