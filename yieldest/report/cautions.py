"""The usual cautions: what about a small wind machine, and a test of one, can hurt someone."""

CAUTIONS = (
    "Masts, guys and foundations carry storm loads: have them judged by a competent person under "
    "local codes, never stand under a mast that is being raised, and never climb one alone.",
    "A rotor that loses its load overspeeds: keep a brake or a dump load that works without power, "
    "and stay out of the plane of the blades.",
    "Batteries can burn and DC arcs do not go out by themselves: fuse at the battery and use "
    "switches rated for DC.",
    "Mains work, earthing and lightning protection belong to a licensed electrician.",
    "Ice is thrown farther than the mast is tall: keep people away when it thaws.",
    "A roof needs a structural engineer before it gets a machine.",
)
"""Common practice, no source; local codes and licensed practice always come first."""
IN_SHORT = "masts, overspeed, batteries, mains and ice: docs/safety.md and local codes"
CURVE_CAUTIONS = (
    "When the load comes off (a fuse, a full battery, a loose plug) the rotor overspeeds within "
    "seconds: have a brake that works without power before the first windy reading, and never "
    "take the load off to see what happens.",
    "Open-circuit volts grow with rpm and can be many times the volts under load: treat the wires "
    "of a turning machine as live, and use meters rated for it.",
    "Load resistors glow in strong wind: mount them on something that does not burn, guard them, "
    "and expect their resistance to rise with heat.",
    "Stand upwind or to the side, never in the plane of the blades; tie the rotor fast before "
    "going near it.",
    "Do not test from a trailer or car on public roads. On private ground keep people away, have "
    "a driver who does nothing else, and know that the air around the vehicle falsifies the wind.",
)
"""For those who take readings; common practice, no source."""
