"""The clamps: what each one holds, how that changes, and which of them is at fault.

* `hold`       one hold test: loss, flex, slip, creep, stick-slip
"""
