"""The columns of the result tables. Names carry their units; they are stable: new ones may come, none change."""

COLUMNS: dict[str, str] = {
    # every table
    "band": "amateur band",
    # dips
    "dip_mhz": "the SWR minimum at the radio, MHz: the deepest inside the band, else the nearest to it within a tenth; empty if none",
    "dip_swr": "SWR at the radio at the dip",
    "width_2to1_khz": "width around the dip with SWR below 2 at the radio, kHz; 0 if the dip stays above 2",
    "width_user_khz": "width around the dip with SWR below the study's swr_threshold, kHz",
    "swr_lower_edge": "SWR at the radio at the band's lower edge",
    "swr_upper_edge": "SWR at the radio at the band's upper edge",
    "swr_best": "lowest SWR at the radio inside the band",
    "swr_worst": "highest SWR at the radio inside the band",
    "feed_r_ohm": "resistance at the wire's end at the dip (in sweeps: at f_mhz), ohm",
    "feed_x_ohm": "reactance at the wire's end at the dip (in sweeps: at f_mhz), ohm",
    "dip_swr_transformer": "SWR at the transformer's primary at the dip; coax loss does not flatter it",
    "dip_loss_db": "loss in coax and transformer at the dip, dB",
    "centre_r_ohm": "resistance at the wire's end at the middle of the band, ohm",
    "centre_x_ohm": "reactance at the wire's end at the middle of the band, ohm",
    "resonances_mhz": "frequencies at which the reactance at the wire's end is zero, MHz, separated by spaces",
    "fit_error": "estimated greatest error of the continuous response, as a reflection coefficient",
    "samples": "number of solves the response was made from",
    # sweeps
    "f_mhz": "frequency, MHz",
    "radio_r_ohm": "resistance at the radio, ohm",
    "radio_x_ohm": "reactance at the radio, ohm",
    "swr": "SWR at the radio",
    "swr_transformer": "SWR at the transformer's primary",
    # quality
    "max_length_wavelengths": "longest segment, wavelengths",
    "min_length_radii": "shortest segment, wire radii",
    "min_height_radii": "lowest wire above soil, wire radii",
    "max_neighbour_ratio": "greatest ratio of neighbouring segment lengths",
    "y_asymmetry": "greatest asymmetry of the engine's admittance matrix, relative to its largest entry",
    "marks": "in words, what is outside the model's validity; empty if nothing is",
}
