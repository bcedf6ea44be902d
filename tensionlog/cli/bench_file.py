"""Read and write the one file that says what the bench is."""

from pathlib import Path

from tensionlog.errors import SettingsError
from tensionlog.settings import BenchSettings, parse_settings, settings_path, settings_text


def load_settings() -> BenchSettings:
    """The set-up of this bench; the defaults where nobody has written one.

    Raises:
        SettingsError: The file is there and cannot be used.
    """
    path = settings_path()
    try:
        return parse_settings(path.read_text(encoding="utf-8"), label=str(path))
    except FileNotFoundError:
        return BenchSettings()
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"cannot read {path}: {error}. Correct it by hand, or name another folder in "
            "TENSIONLOG_CONFIG."
        ) from error


def save_settings(settings: BenchSettings) -> Path:
    """Write the set-up, whole or not at all; return where.

    Raises:
        SettingsError: The place does not take it.
    """
    path = settings_path()
    partial = path.with_name(f"{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        partial.write_text(settings_text(settings), encoding="utf-8")
        partial.replace(path)
    except OSError as error:
        raise SettingsError(
            f"cannot write {path}: {error.strerror or error}. Name another folder in "
            "TENSIONLOG_CONFIG."
        ) from error
    return path
