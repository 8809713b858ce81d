"""Calls of the stand-ins against the signatures of a port's stubs. Runs on the MicroPython VM."""

signatures = {}


def fits(overload, args, kwargs):
    """Whether a call could be this overload's."""
    names = {name: kind for name, kind, _ in overload["rows"]}
    places = [name for name, kind, _ in overload["rows"] if kind < 2]
    if len(args) > len(places) and not overload["more"]:
        return False
    given = places[: len(args)]
    for name in kwargs:
        if name in given or (names.get(name, 2 if overload["named"] else 0) == 0):
            return False
        if name not in names and not overload["named"]:
            return False
    needed = [name for name, _, must in overload["rows"] if must]
    return all(name in given or name in kwargs for name in needed)


def check(name, args=(), kwargs=None):
    """Raise AttributeError where the port has no such thing, TypeError where no signature of it fits the call."""
    if name not in signatures:
        raise AttributeError("the stubs know no " + name)
    overloads = signatures[name]
    if not any(fits(overload, args, kwargs or {}) for overload in overloads):
        raise TypeError("%s: %r %r fits none of %r" % (name, args, kwargs, overloads))


def made(name, args, kwargs):
    """The same for a class that is called: some stubs have no __init__ where nothing is taken."""
    check(name + ".__init__", args, kwargs)


def constant(name):
    """The value that the port's stubs give it."""
    value = signatures.get(name)
    if isinstance(value, list) or value is None:
        raise AttributeError("the stubs know no " + name)
    return value
