"""The compositions: a scan, a run listed anew, soundings to a grid."""
