"""Words that a step may begin with: commands of the workshop, one meaning each."""

_COMMANDS = """
add adjust align answer apply arm attach bag balance bend blow bolt brake brush call cap carry catch centre change
charge check chock choose clamp clean clear clip close coat collect compare compress connect cool count cover crack
cross cut degrease depress dip disconnect dispose drain draw drill drive drop dry ease empty engage enter fasten feed
feel file fill find fit flush fold free grease grind grip guide hammer hand hang heat hoist hold hook inspect insert
install jack join keep label lay lead let level lever lift light line listen load lock look loosen lower lubricate make
mark mask match measure mix mount move note oil open pack paint park part peel photograph pick pin place plug point
polish position pour press probe prop protect pry pull pump purge push put raise read record refit release remove
replace reset rest rinse rock roll rotate rub run sand scan scrape screw seal seat secure select separate set shake
shift shut sign slacken slide slip snug soak spin spray spread squeeze stake stand start steer step stop store stow
strap strip support sweep swing switch tag take tap tape test thread tie tighten tilt torque touch trace tread trim try
tug turn twist unbolt unclip uncover undo unhook unlock unplug unscrew untie vent wait walk warm wash watch wear wedge
weigh wet wind wipe work wrap write
"""
VERBS = frozenset(_COMMANDS.split())
CONDITIONS = frozenset(("if", "when", "before", "after", "while", "until", "with", "without"))
"""Words of a condition, which stands before its command, with a comma between."""
ALSO_PLAIN = frozenset(("dry", "clean", "level", "line", "light", "free", "warm", "wet", "clear", "open", "cool"))
"""Commands that after 'and' are mostly no command."""
ONE_TIME = frozenset(("attach", "connect", "disconnect", "fit", "hang", "install", "lay", "put", "remove", "switch"))
"""Acts that are done once: they are a step of their own and never part of a safety message."""
