__version__ = "0.2.0"

#: A public name that goes with the API's next first number → what to write instead, and since which version.
DEPRECATED: dict[str, tuple[str, str]] = {}
