"""What the variables of a position are called."""


def gate_variable(key: str) -> str:
    return f"gate {key}"


def device_variable(name: str) -> str:
    return f"device {name}"


def debt_variable(name: str) -> str:
    return f"trip {name}"


def temporary_variable(name: str) -> str:
    return f"temporary {name}"


def order_variable(name: str) -> str:
    """Whether what comes before closing a device was done since it was last held off, without a correction."""
    return f"order {name}"


def any_variable(circuit: str) -> str:
    """Whether the job sheet lists any supply under a counted circuit's name."""
    return f"data {circuit} is there"


def count_variable(step: str, outcome: str) -> str:
    """How often an outcome that leads back was followed."""
    return f"count {step}: {outcome}"


def kept_variable(step: str) -> str:
    return f"kept {step}"
