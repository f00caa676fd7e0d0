"""The columns of the result tables. Names carry their units; they are stable: new ones may come, none change.

`facts` gives them as data: table, unit, type, meaning. Types are stable too: a number is a float, but for counts that
are never missing; what may be missing (dip_mode where there is no dip) is always a float.
"""

from collections.abc import Iterator
from dataclasses import dataclass

COLUMNS: dict[str, str] = {
    # every table
    "band": "amateur band",
    # dips
    "dip_mhz": "SWR minimum at the radio, MHz: the deepest in the band, else the nearest; never one nearer to another "
    "band; along an axis one dip is followed (studies/wants/dips/reading.py); empty if none",
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
    "dip_coax_db": "loss in the coax at the dip, with its SWR, dB",
    "dip_tuner_db": "what a tuner would take that matches the dip, dB: an L network, coil Q 100, capacitor Q 1000; "
    "0 up to SWR 2, where none is needed",
    "dip_transformer_db": "loss in the transformer (core and winding) at the dip, dB",
    "dip_mode": "half-waves of current on the wire at the dip, a whole number; empty if there is no dip",
    "centre_r_ohm": "resistance at the wire's end at the middle of the band, ohm",
    "centre_x_ohm": "reactance at the wire's end at the middle of the band, ohm",
    "resonances_mhz": "frequencies at which the reactance at the wire's end is zero, MHz, separated by spaces",
    "fit_error": "estimated greatest error of the continuous response, as a reflection coefficient",
    "samples": "number of solves the response was made from",
    # picture: what the panels of the one picture show, at the lowest SWR inside the band
    "low_radio_gain_dbi": "gain from the radio at 15 degrees over the horizon in the wire's plane, the greater of both "
    "directions, dBi",
    "plane_radio_gain_dbi": "greatest gain from the radio in the wire's vertical plane, dBi",
    "plane_elevation_deg": "elevation of that, degrees",
    # wire_change: of one set-up with dips outside their bands; a row a band and change
    "for_band": "band whose dip the change of wire brings to its edge; all: it puts every dip into its band",
    "change_m": "wire to add, m; below 0: to take away",
    "change_turns": "the same in turns of the reel, more out above 0; inf if the reel has not so much wire",
    "then_mhz": "where the band's dip is then, MHz",
    # all_dips: every SWR minimum within a tenth of a band; band: the one it is nearest to
    "mode": "half-waves of current on the wire at this dip, a whole number",
    "half_waves": "the same before rounding",
    "chosen": "whether this is the dip that the table of dips tells for its band",
    "followed": "number of the dip followed along the axes, 1 for the band's; 0 where nothing is followed",
    "loss_db": "loss in coax and transformer at this dip, dB",
    # sweeps
    "f_mhz": "frequency, MHz",
    "radio_r_ohm": "resistance at the radio, ohm",
    "radio_x_ohm": "reactance at the radio, ohm",
    "swr": "SWR at the radio",
    "swr_transformer": "SWR at the transformer's primary",
    # quality
    "max_length_wavelengths": "longest segment, wavelengths",
    "min_length_radii": "shortest segment, wire radii",
    "feed_segment_share": "segments at the feed over feed_segment; below 1 the feed is shorter than in other set-ups",
    "min_height_radii": "lowest wire above soil, wire radii",
    "max_neighbour_ratio": "greatest ratio of neighbouring segment lengths",
    "y_asymmetry": "greatest asymmetry of the engine's admittance matrix, relative to its largest entry",
    "power_error": "power radiated over power put in, less 1, of the same wires without loss in free space; with coax "
    "and counterpoise the worst of the band, 21.2 and 28.5 MHz",
    "blend_error": "0 where the case was solved; where its matrices are blended between solved cases, the "
    "estimated error of the reflection coefficient at the wire's feed from that",
    "marks": "in words, what is outside the model's validity; empty if nothing is",
    "inexact": "in words, what is less exact than usual though inside validity; empty if nothing is",
    # pattern; gains are relative to the power into the wire unless the name says radio
    "bearing_deg": "bearing of the elevation cut, degrees clockwise from north: the wire's unless chosen otherwise",
    "peak_gain_dbi": "greatest gain, dBi",
    "peak_radio_gain_dbi": "greatest gain less what mismatch, coax and transformer take, dBi",
    "takeoff_deg": "elevation of the greatest gain, degrees",
    "peak_bearing_deg": "azimuth of the greatest gain, degrees from north; empty if all directions are within 0.1 dB",
    "halfpower_elevation_deg": "width of the strongest lobe within 3 dB in the vertical plane of its peak, degrees",
    "halfpower_azimuth_deg": "width of the strongest lobe within 3 dB at its elevation, degrees; 360 if all round",
    "plane_peak_radio_gain_dbi": "greatest gain from the radio in the vertical plane of the bearing, dBi",
    "plane_peak_deg": "where, as an angle along the elevation cut: from the horizon ahead over the zenith, degrees",
    "cut_elevation_deg": "elevation of the azimuth cut, degrees",
    "forward_gain_dbi": "gain along the bearing at cut_elevation_deg (in pattern_gains: at elevation_deg), dBi",
    "forward_radio_gain_dbi": "forward_gain_dbi less what mismatch, coax and transformer take, dBi",
    "around_radio_gain_dbi": "mean of the power over all bearings at cut_elevation_deg, as gain from the radio, dBi",
    "cut_peak_radio_gain_dbi": "greatest gain from the radio at cut_elevation_deg, dBi",
    "cut_peak_bearing_deg": "azimuth of it, degrees clockwise from north",
    "around_db": "what shore, slope and hill add to the gain along the bearing at elevation_deg, dB",
    "back_gain_dbi": "gain opposite to the bearing, dBi",
    "front_to_back_db": "gain along the bearing over gain opposite to it at cut_elevation_deg, dB",
    "efficiency_percent": "power into the sky over power into the wire, percent",
    "share_sky": "fraction of the radio's forward power that is radiated into the sky",
    "share_soil": "fraction of the radio's forward power that heats the soil",
    "share_wire": "fraction of the radio's forward power that heats wire, counterpoise and shield",
    "share_choke": "fraction of the radio's forward power that heats chokes",
    "share_transformer": "fraction of the radio's forward power that heats the transformer's core and winding",
    "share_coax": "fraction of the radio's forward power that heats the coax as a line",
    "share_mismatch": "fraction of the radio's forward power that is reflected to the radio",
    "balance_error_percent": "power found in sky, soil, wire and choke over the solver's input power, less 100 percent",
    "elevation_deg": "elevation above the horizon, degrees",
    "azimuth_deg": "azimuth, degrees clockwise from north",
    "cut": "elevation: from the horizon at bearing_deg over the zenith; azimuth: all round at cut_elevation_deg",
    "angle_deg": "angle along the cut, degrees: from the horizon ahead, or clockwise from north",
    "gain_dbi": "gain, dBi; -60 where there is less",
    # target; angles are geometry of mirror-like layers
    "region": "name of the region",
    "hops": "number of equal hops",
    "layer_km": "height of the layer, km",
    "nearest_km": "nearest ground distance, km",
    "farthest_km": "farthest ground distance, or as far as the hops reach, km",
    "elevation_low_deg": "lowest elevation at which these paths leave, degrees",
    "elevation_high_deg": "highest elevation at which these paths leave, degrees",
    "region_gain_dbi": "gain towards the region, mean of the power over distance and bearing, dBi",
    "region_least_dbi": "least gain towards the region, dBi; -60 where there is less",
    "region_radio_gain_dbi": "region_gain_dbi less what mismatch, coax and transformer take, dBi",
    "best_bearing_deg": "wire bearing that would serve the region best if all of the antenna were turned, degrees",
    "turn_gain_db": "what turning to best_bearing_deg would add, dB",
    "reach_km": "ground distance that the hops reach, km",
    "note": "how far the hops reach, if that is not all the region",
    "lead_db": "lead of the best case over the second, dB",
    "spread_db": "lead of the best case over the last, dB",
    # exposure, exposure_plan, exposure_section
    "power_w": "power of the radio, W",
    "duty": "average over full power during the time a limit averages over",
    "wire_w": "power into the wire's feed at full power, the radio's match taken as perfect, W",
    "limits": "the limits that are compared with, and whom they are for",
    "body_low_m": "lowest height above soil of the parts of a body that are checked, m",
    "body_high_m": "highest height above soil of the parts of a body that are checked, m",
    "limit_e_v_per_m": "lowest limit of the electric field that applies, V/m rms",
    "limit_h_a_per_m": "lowest limit of the magnetic field that applies, A/m rms",
    "stay_away_m": "greatest level distance to the nearest conductor at which a limit is passed at body height, m",
    "any_part_m": "greatest straight distance to a conductor with a limit passed, at body height or in a section, m",
    "from_feed_m": "greatest level distance from the feed of such a place nearer to the feed than to the wire's end, m",
    "from_end_m": "greatest level distance from the wire's end of such a place nearer to the end, m",
    "worst_east_m": "place of stay_away_m, east of the feed, m",
    "worst_north_m": "place of stay_away_m, north of the feed, m",
    "worst_height_m": "place of stay_away_m, above soil, m",
    "complete": "whether the limit is kept at the edge of what was searched",
    "east_m": "place east of the feed, m",
    "north_m": "place north of the feed, m",
    "section": "number of the upright section: 1 along the wire, others along legs that turn aside",
    "widest": "whether it is the section in which the limit reaches farthest from a conductor",
    "along_m": "metres from the feed along the wire's bearing (exposure_section 1), from a leg's start along it "
    "(other sections), from the feed along the conductor (elsewhere)",
    "height_m": "height above soil, m",
    "quotient": "greatest share of a limit, as power; above 1 is over it; 1e6 within 5 cm of a conductor",
    # stress, stress_along, core
    "end_v": "potential at the wire's open end at full power, V rms",
    "end_peak_v": "its crest, V",
    "feed_v": "voltage across the transformer's secondary at full power, V rms",
    "feed_peak_v": "its crest, V",
    "primary_v": "voltage across the transformer's primary, V rms",
    "core_v": "voltage across the magnetising branch, V rms",
    "max_a": "greatest current in the wire, A rms",
    "max_a_at": "where it flows, m from the feed",
    "core_flux_t": "peak flux density in the core, T",
    "core_w": "average heat in the core, W",
    "winding_w": "average heat in the windings, W",
    "coax_w": "average heat inside the coax, W",
    "choke_w": "average heat in chokes, W",
    "conductor_w": "average heat in the wires and the shield, W",
    "core_rise_low_k": "temperature rise of the core left on, in moving air, K",
    "core_rise_high_k": "temperature rise of the core left on, in a box, K",
    "core_minutes": "time constant of that rise, minutes",
    "safe_w": "power of the radio at this duty up to which neither core, left on in a box, nor choke overheats, W; "
    "empty without both",
    "safe_in_air_w": "the same with the core in moving air, W",
    "core_siemens": "core loss as a conductance across the primary, S",
    "mu_real": "mu' of the core",
    "mu_imag": "mu'' of the core",
    "end_warning": "the end voltage in words",
    "feed_warning": "the secondary voltage in words",
    "core_warning": "the core's temperature in words; empty without a core",
    "flux_warning": "the flux in words; empty without a core",
    "choke_warning": "the chokes' heat in words; empty without one",
    "conductor": "name of the conductor",
    "amps": "current, A rms at full power",
    "volts": "scalar potential, V rms at full power",
    # shield, shield_along
    "variant": "what was changed about the coax",
    "choke_at_m": "place of the choke along the coax, m from the transformer; empty without one",
    "dip_shift_khz": "dip of this variant less the dip as built, kHz",
    "shield_feed_a": "current on the shield at the transformer, A rms",
    "shield_max_a": "greatest current on the shield, A rms",
    "shield_radio_a": "current on the shield's last segment before the radio, A rms",
    "choke_peak_w": "heat in chokes during full power, W",
    "pattern_change_db": "greatest change of gain against as built, where either is within 10 dB of its peak, dB",
    "gain_elevation_deg": "its elevation, degrees",
    "gain_azimuth_deg": "its azimuth, degrees clockwise from north",
    # turns, turn_swr, turn_dips, stops
    "turns_out": "turns off the reel",
    "band_swr_worst": "highest SWR at the radio across the whole band that the segment is in",
    "wire_m": "wire paid out, m",
    "segment": "wanted stretch of frequencies",
    "worst_mhz": "frequency of the highest SWR in the segment, MHz",
    "coax_loss_db": "loss in the coax there, with its SWR, dB",
    "coax_matched_db": "loss in the coax there, matched, dB",
    "transformer_loss_db": "loss in the transformer there, dB",
    "tuner_loss_db": "what a tuner would take there, dB, as dip_tuner_db",
    "swr_neighbour": "highest SWR across the segment one setting off, the worse way",
    "stop_shift_khz_per_turn": "how far one more turn out moves the band's dip at the stop, kHz",
    "shift_khz_per_turn": "how far one more turn out moves the band's dip, kHz",
    "served": "whether the best setting stays at or below the threshold",
    "chance": "share of set-ups hung like this one, by its give or take, that the stop serves; empty if not known",
    "stop_turns": "turns out of the stop that serves the segment; empty if none does",
    "stop_swr_worst": "highest SWR across the segment at that stop",
    "at_range_end": "whether the best setting lies at an end of the range tried",
    "segments": "segments that the stop serves, separated by semicolons",
    # fit, fit_sweeps, fit_unused, fit_points, fit_directions, fit_missing, fit_instead
    "sweep_from_mhz": "lowest frequency of a sweep that was not fitted, as it is of none of the study's bands, MHz",
    "sweep_to_mhz": "its highest frequency, MHz",
    "parameter": "dotted key of the fitted value",
    "unit": "unit of the numbers in this row",
    "start": "value the fit started from, which is the prior if there is one",
    "prior_sd": "standard deviation of the prior; empty without one",
    "estimate": "fitted value",
    "estimate_sd": "its standard deviation",
    "lowest": "lower end of the range allowed",
    "highest": "upper end of the range allowed",
    "scale": "how far the fit takes it for uncertain: the standard deviation of the prior, or a part of the range",
    "direction": "number of a combination of fitted values",
    "weight": "part of the value in that combination, in units of its scale",
    "strength": "how much the sweeps say about the combination; 1: as much as the scales do",
    "most_correlated": "the fitted value whose error goes most with this one's",
    "correlation": "correlation of the two errors",
    "with_parameter": "the other value of a pair",
    "sweep": "name of the measured sweep",
    "plane": "where it was taken: radio or transformer",
    "points": "number of its frequencies",
    "noise": "scatter of each part of the measured reflection coefficient",
    "residual_rms": "what the fit leaves of each part of the reflection coefficient",
    "other_plane_ratio": "squared misfit with all planes exchanged over the fit's; empty if not tried",
    "swr_measured": "SWR measured",
    "swr_fitted": "SWR of the fitted set-up",
    "swr_start": "SWR of the set-up before the fit",
    "residual_re": "fitted less measured reflection coefficient, real part (or magnitude, if only SWR was measured)",
    "residual_im": "the same, imaginary part",
    "left_out": "values that the fit did not free, in words",
    "explains_percent": "how much of what noise does not explain they would explain, %",
    # spread, spread_parts, spread_samples, spread_measures, spread_sobol, spread_exact, turn_spread
    "khz_per_metre": "how far a metre more of antenna wire moves the dip, kHz",
    "dip_give_khz": "give or take of the dip, kHz: half of the range that holds 68 % of set-ups like this one",
    "dip_minus_khz": "how far below dip_mhz the range begins that holds 68 % of such dips and dip_mhz itself, kHz",
    "dip_plus_khz": "how far above dip_mhz it ends, kHz",
    "dip_median_mhz": "dip that half of such set-ups lie below, MHz",
    "dip_low_mhz": "lower end of the range that holds the dip of 95 % of set-ups like this one, MHz",
    "dip_high_mhz": "its upper end, MHz",
    "dip_swr_low": "lower end of the 95 % range of the SWR at the dip",
    "dip_swr_high": "its upper end",
    "swr_worst_low": "lower end of the 95 % range of the highest SWR inside the band or segment",
    "swr_worst_high": "its upper end",
    "swr_worst_low_68": "lower end of the 68 % range of the highest SWR inside the band",
    "swr_worst_high_68": "its upper end",
    "swr_worst_median": "highest SWR inside the band that half of such set-ups stay below",
    "withheld": "why no give or take is told; empty where it is",
    "chance_under_limit": "chance that the highest SWR inside the band or segment stays at or below the limit",
    "largest": "the values that move the dip most, in words, separated by semicolons",
    "largest_khz": "how far each of them moves it, kHz, for one standard deviation",
    "measure": "the measurement that would narrow the dips most",
    "measured_give_khz": "give or take of the dip after it, kHz",
    "value": "dotted key of an uncertain value",
    "part": "what it is, in words",
    "value_and_sd": "the value and its give or take, in words",
    "moves_khz": "how far the dip moves for one standard deviation of it, kHz, with its sign",
    "share_percent": "its share of the dip's variance, percent",
    "left_percent": "what measuring it leaves of its standard deviation, percent",
    "answer": "which answer the row is about",
    "sobol_first": "Sobol's first-order share of the variance: by this value alone",
    "sobol_total": "Sobol's total share: with all that it does together with others",
    # differences: of two cases, from the same draws of all that is uncertain in both; case_b less case_a
    "case_a": "the first case, in words",
    "case_b": "the second case, in words",
    "dip_difference_khz": "dip of case_b less dip of case_a, kHz",
    "dip_difference_low_68_khz": "lower end of the range that holds it for 68 % of set-ups like these, kHz",
    "dip_difference_high_68_khz": "its upper end, kHz",
    "dip_difference_low_95_khz": "lower end of the range that holds it for 95 %, kHz",
    "dip_difference_high_95_khz": "its upper end, kHz",
    "dip_lower_share": "share of such set-ups in which case_a has the lower dip",
    "swr_difference": "highest SWR inside the band or segment of case_b less that of case_a",
    "swr_difference_low_68": "lower end of the range that holds it for 68 % of set-ups like these",
    "swr_difference_high_68": "its upper end",
    "swr_difference_low_95": "lower end of the range that holds it for 95 %",
    "swr_difference_high_95": "its upper end",
    "swr_lower_share": "share of such set-ups in which case_a has the lower one",
    # why, why_parts, why_bands, why_next, why_wire, why_failed
    "rank": "place of the cause, 1 the likeliest",
    "cause": "what may have changed",
    "change": "the change that explains the shifts best, in words",
    "usual": "a usual change of this cause: what one set-up differs from the next by without anybody noticing",
    "usual_changes": "that change in units of a usual one; of two causes the root of the sum of squares",
    "misfit": "sum over all readings of ((predicted - seen)/error)^2; about their number where all is explained",
    "cause_chance": "chance that this changed and nothing else, among all causes, sets of two or three, and nothing",
    "other_cause": "the second likeliest cause",
    "other_mhz": "where other_cause would put it, MHz",
    "odds": "of the right one of the two causes to the other, once this dip is read; 22026 stands for more",
    "explains": "whether that is small enough to explain all bands",
    "at_end": "whether a still greater change than those tried would explain more",
    "undo": "what to do about it",
    "was_mhz": "where the dip was, MHz",
    "now_mhz": "where it is now, MHz",
    "was_swr": "SWR at the dip before; empty if not given",
    "now_swr": "SWR at the dip now; empty if not given",
    "base_mhz": "where the set-up itself has the dip, MHz",
    "amount": "size of the change in SI: metres, radians, farads, a factor, or how far away (m)",
    "further": "a second size of it: turns of the reel, or the factor of the soil's conductivity",
    "stays_khz": "how far the band's dip stays off once the wire has brought the dips back as well as it can, kHz",
    "reason": "why it could not be tried",
    "told_mhz": "where the cause would put it, MHz",
    "told_swr": "SWR that the cause would give at the dip",
    "off_khz": "frequency of told_mhz minus that of now_mhz, kHz: above 0 if the cause would put the dip too high",
    # choices, choice_swr, tradeoff, wishes, choices_solved; what may vary has columns named like axes
    "choice": "number of the choice, 1 the best; empty for one that is only on the curve between two aims",
    "swr_highest": "highest SWR at the radio across all wanted segments",
    "highest_m": "highest point of the wire, m",
    "radio_gain_dbi": "gain from the radio towards what is aimed at, mean over the segments, dBi",
    "heat_in_core_w": "greatest heat in the core across the segments, at the radio's power and duty, W",
    "feed_loss_db": "greatest loss in coax and transformer across the segments, dB",
    "misses": "wishes that it does not keep",
    "chance_percent": "chance that the SWR stays at or below the wish in all segments, %",
    "why": "where it beats the other choices",
    "gives_up": "where another choice beats it",
    "swr_worst_pm": "half the width of the 68 % interval of the highest SWR across the segment",
    "wish": "a wish that the best choice misses",
    "missed_by": "by how much, in the wish's unit",
    "rest_holds_without": "whether all other wishes can be had without it",
    "solved": "distinct wire set-ups solved exactly",
    "tried": "candidates solved exactly",
    "allowed": "solves allowed",
    "stopped": "whether the search was stopped before its end",
}

TABLES: dict[str, tuple[str, ...]] = {
    name: tuple(columns.split())
    for name, columns in {
        "dips": "band dip_mhz dip_swr dip_mode width_2to1_khz width_user_khz feed_r_ohm feed_x_ohm "
        "dip_swr_transformer dip_coax_db dip_transformer_db dip_loss_db dip_tuner_db swr_lower_edge swr_upper_edge "
        "swr_best swr_worst centre_r_ohm centre_x_ohm resonances_mhz fit_error samples",
        "all_dips": "band mode half_waves f_mhz swr width_2to1_khz width_user_khz feed_r_ohm feed_x_ohm "
        "swr_transformer coax_loss_db transformer_loss_db loss_db tuner_loss_db chosen followed",
        "sweeps": "band f_mhz feed_r_ohm feed_x_ohm radio_r_ohm radio_x_ohm swr swr_transformer",
        "quality": "band max_length_wavelengths min_length_radii min_height_radii max_neighbour_ratio "
        "feed_segment_share y_asymmetry blend_error power_error marks inexact",
        "wire_change": "for_band change_m change_turns band then_mhz",
        "picture": "band f_mhz swr low_radio_gain_dbi plane_radio_gain_dbi plane_elevation_deg",
        "differences": "band case_a case_b dip_difference_khz dip_difference_low_68_khz dip_difference_high_68_khz "
        "dip_difference_low_95_khz dip_difference_high_95_khz dip_lower_share swr_difference swr_difference_low_68 "
        "swr_difference_high_68 swr_difference_low_95 swr_difference_high_95 swr_lower_share",
        "spread": "band dip_mhz dip_give_khz dip_minus_khz dip_plus_khz dip_median_mhz withheld swr_worst_low_68 "
        "swr_worst_high_68 swr_worst_median khz_per_metre dip_low_mhz dip_high_mhz dip_swr_low dip_swr_high "
        "swr_worst swr_worst_low swr_worst_high chance_under_limit largest largest_khz measure "
        "measured_give_khz",
        "spread_parts": "band value part value_and_sd moves_khz share_percent left_percent measure",
        "spread_sobol": "band answer value sobol_first sobol_total",
        "pattern": "band f_mhz bearing_deg peak_gain_dbi peak_radio_gain_dbi takeoff_deg peak_bearing_deg "
        "halfpower_elevation_deg halfpower_azimuth_deg cut_elevation_deg forward_gain_dbi "
        "forward_radio_gain_dbi around_radio_gain_dbi cut_peak_radio_gain_dbi cut_peak_bearing_deg "
        "front_to_back_db plane_peak_radio_gain_dbi plane_peak_deg efficiency_percent share_sky share_soil share_wire "
        "share_choke share_transformer share_coax share_mismatch balance_error_percent",
        "pattern_gains": "band elevation_deg forward_gain_dbi forward_radio_gain_dbi back_gain_dbi around_db",
        "pattern_cuts": "band cut angle_deg gain_dbi",
        "pattern_sphere": "band elevation_deg azimuth_deg gain_dbi",
        "target": "band f_mhz region hops layer_km nearest_km farthest_km elevation_low_deg elevation_high_deg "
        "region_gain_dbi region_least_dbi region_radio_gain_dbi best_bearing_deg turn_gain_db reach_km note",
        "target_best": "band region hops elevation_low_deg elevation_high_deg region_gain_dbi region_radio_gain_dbi "
        "best_bearing_deg turn_gain_db lead_db spread_db",
        "exposure": "band f_mhz power_w duty wire_w limit_e_v_per_m limit_h_a_per_m stay_away_m any_part_m "
        "from_feed_m from_end_m worst_east_m worst_north_m worst_height_m complete limits body_low_m body_high_m",
        "exposure_plan": "band east_m north_m height_m quotient",
        "exposure_section": "band section widest along_m height_m quotient",
        "stress": "band f_mhz power_w duty wire_w end_v end_peak_v feed_v feed_peak_v primary_v core_v max_a "
        "max_a_at core_flux_t core_w winding_w coax_w choke_w conductor_w core_rise_low_k "
        "core_rise_high_k core_minutes core_siemens mu_real mu_imag end_warning feed_warning "
        "core_warning flux_warning choke_warning safe_w safe_in_air_w",
        "stress_along": "band conductor along_m amps volts",
        "core": "f_mhz mu_real mu_imag core_siemens",
        "shield": "band variant dip_mhz dip_swr f_mhz shield_feed_a shield_max_a shield_radio_a choke_peak_w "
        "gain_dbi gain_elevation_deg gain_azimuth_deg choke_at_m dip_shift_khz pattern_change_db power_w",
        "shield_along": "band variant along_m amps",
        "turns": "segment band turns_out wire_m swr_best swr_worst swr_neighbour shift_khz_per_turn served "
        "stop_turns stop_swr_worst stop_shift_khz_per_turn at_range_end worst_mhz radio_r_ohm radio_x_ohm coax_loss_db "
        "coax_matched_db transformer_loss_db",
        "stops": "turns_out wire_m segments swr_worst chance",
        "turn_swr": "turns_out wire_m segment band swr_best swr_worst band_swr_worst worst_mhz radio_r_ohm "
        "radio_x_ohm coax_loss_db coax_matched_db transformer_loss_db",
        "turn_dips": "turns_out wire_m band dip_mhz dip_swr dip_mode shift_khz_per_turn",
        "fit": "parameter unit start prior_sd estimate estimate_sd lowest highest scale most_correlated correlation",
        "fit_sweeps": "sweep plane points noise residual_rms other_plane_ratio",
        "fit_unused": "sweep sweep_from_mhz sweep_to_mhz",
        "fit_points": "sweep f_mhz swr_measured swr_fitted swr_start residual_re residual_im",
        "fit_correlation": "parameter with_parameter correlation",
        "fit_directions": "direction parameter weight strength",
        "fit_missing": "left_out parameter unit start estimate lowest highest explains_percent",
        "fit_instead": "left_out parameter unit estimate",
        "why": "rank cause change usual usual_changes misfit cause_chance explains at_end undo",
        "why_parts": "rank cause usual_changes amount further",
        "why_bands": "cause band was_mhz now_mhz told_mhz told_swr off_khz was_swr now_swr base_mhz",
        "why_next": "cause other_cause band was_mhz told_mhz other_mhz odds",
        "why_wire": "cause usual_changes amount further band stays_khz",
        "why_failed": "cause reason",
        "choices": "choice swr_highest wire_m highest_m shield_max_a misses chance_percent why gives_up bearing_deg "
        "radio_gain_dbi heat_in_core_w feed_loss_db",
        "choice_swr": "choice segment swr_worst swr_worst_pm",
        "choices_solved": "solved tried allowed stopped",
        "tradeoff": "choice swr_highest wire_m highest_m shield_max_a misses radio_gain_dbi heat_in_core_w "
        "feed_loss_db",
        "wishes": "wish missed_by rest_holds_without swr_highest",
    }.items()
}
"""Table -> its columns besides those of the swept axes. Some tables have further ones by what is asked for."""

TYPES: dict[str, str] = {
    "text": "antenna band resonances_mhz marks inexact cut region note end_warning feed_warning core_warning "
    "flux_warning choke_warning conductor variant segment segments parameter unit most_correlated "
    "with_parameter sweep plane left_out largest largest_khz measure value part value_and_sd answer cause "
    "other_cause reason change usual undo misses why gives_up wish case_a case_b withheld for_band limits",
    "whole number": "mode followed samples section hops points direction rank solved tried allowed",
    "true or false": "chosen widest complete served at_range_end explains at_end rest_holds_without stopped",
}
"""type -> the columns of it; all others are floats"""
NEVER_MISSING = {("choices", "choice"): "whole number", ("choice_swr", "choice"): "whole number"}
TYPE_OF = {column: kind for kind, columns in TYPES.items() for column in columns.split()}
UNITS = {
    "_mhz": "MHz", "_khz": "kHz", "_ohm": "ohm", "_db": "dB", "_dbi": "dBi", "_deg": "degree", "_km": "km", "_m": "m",
    "_w": "W", "_v": "V", "_a": "A", "_percent": "percent", "_pf": "pF", "_uh": "uH", "_ms_per_m": "mS m-1", "_t": "T",
    "_k": "K", "_s": "s", "_minutes": "min", "_siemens": "S", "_v_per_m": "V m-1", "_a_per_m": "A m-1",
}  # fmt: skip
"""end of a column's name -> its unit, as UDUNITS and CF write it, and decibels"""
OWN_UNITS = {"max_a_at": "m", "amps": "A", "volts": "V", "khz_per_metre": "kHz m-1", "shift_khz_per_turn": "kHz",
             "stop_shift_khz_per_turn": "kHz",
             "change_turns": "1", "dip_difference_low_68_khz": "kHz",
             "start": "", "prior_sd": "", "estimate": "", "estimate_sd": "", "lowest": "", "highest": "", "scale": "",
             "missed_by": "", "amount": "", "further": ""}  # fmt: skip


@dataclass(frozen=True)
class Column:
    """What a column is. type: float, whole number, text, or true or false. unit: "1" of a plain number, "" of words and
    where a column of its own says it."""

    table: str
    column: str
    unit: str
    type: str
    meaning: str


def type_of(column: str, table: str = "") -> str:
    """Of a column by its name, and that of its table where it is missing in some tables only.

    >>> type_of("dip_mhz"), type_of("mode"), type_of("choice", "choices"), type_of("choice", "tradeoff")
    ('float', 'whole number', 'whole number', 'float')
    """
    return NEVER_MISSING.get((table, column)) or TYPE_OF.get(column, "float")


def unit_of(column: str) -> str:
    """Of a column by its name; also of a swept axis.

    >>> unit_of("dip_mhz"), unit_of("slope_deg"), unit_of("dip_swr"), unit_of("band")
    ('MHz', 'degree', '1', '')
    """
    if column in OWN_UNITS or type_of(column) not in ("float", "whole number"):
        return OWN_UNITS.get(column, "")
    return next((unit for end, unit in sorted(UNITS.items(), key=lambda e: -len(e[0])) if column.endswith(end)), "1")


def facts() -> Iterator[Column]:
    """Every column of every table."""
    for table, columns in TABLES.items():
        for column in columns:
            yield Column(table, column, unit_of(column), type_of(column, table), COLUMNS[column])
