"""A plugin's settings: declared with a default, said in shop.toml under [plugins.NAME]."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum

from .. import units
from ..errors import InputError
from ..model.measurand import Setting, answers_of
from ..model.value import Value, exact


class SettingError(InputError):
    """What a shop says cannot be meant."""


def setting_value(setting: Setting, said: Mapping[str, str]) -> Enum | Value:
    """What holds: the shop's word, or the default.

    Args:
        said: Key of a setting → what the shop says.

    Raises:
        SettingError: it is none of the answers, no such quantity, or outside what is possible.
    """
    text = said.get(setting.key, setting.default)
    if setting.answers is not None:
        known = answers_of(setting.answers)
        if text not in known:
            listed = ", ".join(f'"{word}"' for word in known)
            raise SettingError(f"{text!r} is none of its answers; write {listed}")
        return known[text]
    try:
        found = units.read_quantity(text, setting.units)
    except units.TypedError as error:
        raise SettingError(str(error)) from error
    if not setting.possible.holds(found.number):
        ends = [
            f"{word} {units.show(exact(found.kind, end), setting.units[0], uncertainty=False)}"
            for word, end in (("from", setting.possible.low), ("to", setting.possible.high))
            if end is not None
        ]
        raise SettingError(f"{text} cannot be; possible is {' '.join(ends)}")
    return exact(found.kind, found.number)
