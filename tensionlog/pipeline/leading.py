"""A guided test on a bench that is followed all day: keys in, what was said out."""

from collections import deque

from tensionlog.pipeline.guided import Guided
from tensionlog.pipeline.now import Guiding
from tensionlog.pipeline.quick import Quick


class Leading:
    """The guide under way, if there is one."""

    def __init__(self) -> None:
        self._next: tuple[Guided, str] | None = None
        self._guided: Guided | None = None
        self._keys: deque[str] = deque()

    def next_is(self, guided: Guided, kind: str) -> None:
        """The recording that begins next is this guide's."""
        self._next = guided, kind

    def key(self, key: str) -> None:
        """Take a key, or a number in words, from any thread."""
        self._keys.append(key)

    def begin(self, quick: Quick) -> Guiding | None:
        """A recording has begun; give how its guide stands, None where it has none."""
        self._guided = None
        self._keys.clear()
        if self._next is None:
            return None
        self._guided, kind = self._next
        self._next = None
        self._guided.listen(quick)
        return Guiding(kind=kind)

    def step(self, guiding: Guiding | None) -> Guiding | None:
        """Pass keys on; give how it stands now, or None where nothing was said."""
        guided = self._guided
        if guided is None or guiding is None:
            return None
        while self._keys:
            guided.key(self._keys.popleft())
        said = guided.said()
        for one in said:
            guiding = guiding.after(one)
        if guiding.done is not None:
            self._guided = None
        return guiding if said else None
