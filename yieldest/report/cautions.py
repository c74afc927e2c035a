"""The usual cautions: what about a small wind machine can hurt someone."""

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
