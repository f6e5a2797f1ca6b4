"""What a browser says of itself (RFC 9110, 10.1.5), in plain words: enough to tell one's own
devices apart, and no proof of anything."""

# The first that is found counts: most browsers also call themselves by the names of others.
PROGRAMS = [("Edg", "Edge"), ("Firefox", "Firefox"), ("FxiOS", "Firefox"), ("OPR", "Opera")]
PROGRAMS += [("CriOS", "Chrome"), ("Chrome", "Chrome"), ("Safari", "Safari")]
MACHINES = [
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android device"),
    ("Windows", "Windows computer"),
    ("Mac OS", "Mac"),
    ("CrOS", "Chromebook"),
    ("Linux", "Linux computer"),
]


def device_words(user_agent: str) -> str:
    """Such as “Firefox on a Windows computer”."""
    program = next((name for sign, name in PROGRAMS if sign in user_agent), "A browser")
    machine = next((name for sign, name in MACHINES if sign in user_agent), "device")
    article = "an" if machine[0] in "AI" or machine.startswith("i") else "a"
    return f"{program} on {article} {machine}"
