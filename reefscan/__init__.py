"""From bathymetry to ranked, explained drop points for baited nets and pots."""
