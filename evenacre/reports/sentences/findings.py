"""Every finding of an audit or a plan in plain words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, get_args

from evenacre.errors import InputError
from evenacre.language import Filler, date_text, mark, tr
from evenacre.model.finding import Finding, FindingError, Severity
from evenacre.reports import figure_text
from evenacre.units.display import Shown, in_both

_INCH_M = 0.0254
_FEW_PLACES = 3

_TWO_MACHINES = mark(
    "The receiver lost its place, or two machines are in one log: name the column that "
    "tells them apart (machine)."
)
_REMEDIES = {
    mark("without position or time"): mark(
        "No position is told there; if another column holds it, name that (lon, lat)."
    ),
    mark("without a time"): mark("Check which column holds the time (time)."),
    mark("same time, other place"): mark(
        "Several machines or sections may be in one log: name the column that tells them "
        "apart (machine, or section_number)."
    ),
    mark("position jumps"): _TWO_MACHINES,
    mark("cuts at jumps"): _TWO_MACHINES,
    mark("cuts at gaps"): mark(
        "The log is silent there. If the machine worked on, say how long a silence is "
        "bridged (max_gap)."
    ),
}
"""What mends it where records were left out, by cause."""
_LOOK = mark("Look at the log there, or export it again.")

WHY_NOT = {
    "tool_places": mark("it holds the places of the tool itself"),
    "several_machines": mark("it holds several machines"),
    "no_switches": mark("it does not hold when work went on and off"),
    "few_ends": mark("it holds too few ends of straight passes side by side"),
    "same_way": mark("passes side by side go the same way"),
    "few_seams": mark("it holds too few straight passes side by side"),
    "uneven": mark("passes side by side lie too unevenly"),
    "even": mark(
        "the passes are evenly spaced, as they are with the antenna over the middle of "
        "the tool, and as steering makes them that keeps the antenna on its lines"
    ),
    "one_speed": mark(
        "work went on and off at about one speed, where a tool further behind and a "
        "longer delay look alike"
    ),
    "hand": mark("it is no more than a hand on the switch may be late or early"),
    "at_antenna": mark("it fits a tool line right at the antenna, or a delay that makes up for it"),
    "no_delay": mark("it is no more than a hand on the switch may be late or early"),
}
"""Why a log cannot tell a figure of the drill, for the middle of a sentence."""

SENTENCES = {
    # Of readers of files.
    "said_by_reader": "{text}",
    # Of what became of the records.
    "records_lost": mark(
        "{lost:,} of {read:,} records were left out, most of them for this: {cause:known}. "
        "{cause:remedy}"
    ),
    "way_lost": mark(
        "{lost_m:distance} of the {way_m:distance} between the records were not used, "
        "most of it for this: {cause:known}. {cause:remedy}"
    ),
    "unlike_the_records": mark(
        "The ground swept is {swept_m2:area}, but width and distance of the records make "
        "{told_m2:area}. Check the width, and the units of both columns."
    ),
    # Of positions.
    "phone_by_spacing": mark(
        "This log looks like a phone's: a record each {interval_s:.0f} s, and passes "
        "side by side whose spacing scatters by {spacing_m:length}, so each may be off "
        "by {pass_m:length} or more. It would be surer from the machine's own receiver."
    ),
    "phone_by_device": mark(
        "The log says that it is a phone's, and no passes side by side show better: "
        "positions were taken to be off by {pass_m:length}. It would be surer from the "
        "machine's own receiver."
    ),
    "phone_until_shown": mark(
        "The log holds nothing but positions, and nothing in it shows how good they are, "
        "so it is taken for a phone's, off by about {pass_m:length} from pass to pass. "
        "If the receiver has corrections, say how well it repeats a pass (pass_to_pass), "
        "or give the machine's own log."
    ),
    "receiver_by_spacing": mark(
        "The log does not tell how good its receiver is, and the spacing of passes side "
        "by side scatters by {spacing_m:length}: each is taken to be off by "
        "{pass_m:length}. If it was driven so uneven, say how well the receiver repeats "
        "a pass (pass_to_pass)."
    ),
    "better_than_quality": mark(
        "Passes were driven with a spacing that scatters by {spacing_m:length} only. "
        "Nobody drives evener than the receiver tells, so each is taken to be off by "
        "{pass_m:length}, less than its kind of fix would let it."
    ),
    "receiver_by_rest": mark(
        "While the machine stood, its place crept about by {creep_m:length}, so each "
        "pass is taken to be off by {pass_m:length}. If the receiver is better than "
        "that, say how well it repeats a pass (pass_to_pass)."
    ),
    "receiver_not_told": mark(
        "The log does not tell how good its receiver is; each pass is taken to be off by "
        "{pass_m:small}, as with real-time corrections. If yours has none, say how well "
        "it repeats a pass (pass_to_pass)."
    ),
    "steered": mark(
        "The log runs straighter, or its passes more even, than anyone steers by hand: "
        "the machine followed this receiver, so where that drifts is on the ground and "
        "not in the log."
    ),
    "steered_in_part": mark(
        "Of {passes:,} passes {steered:,} run straighter, or more even, than anyone steers "
        "by hand: there the machine followed this receiver, so where that drifts is on the "
        "ground and not in the log. The rest, as a headland may be, were driven by hand: "
        "there the drift is in the log."
    ),
    "places_not_told": mark(
        "A gap or a lap of up to {doubtful_m:length} between two passes may be the "
        "receiver's own, and the tool is {width_m:length} wide. So what was missed or "
        "covered twice between passes cannot be told, and no such place is listed. "
        "Ground driven, hours and loads hold."
    ),
    "narrow_gaps_not_told": mark(
        "Gaps of up to {doubtful_m:length} between passes may be the receiver's own and "
        "are not listed."
    ),
    "away_from_field": mark(
        "{records:,} of {read:,} records lie more than {limit_m:length} from the field "
        "and were left out: another field or the road, or a boundary that is too small."
    ),
    "repeated_records": mark(
        "{records:,} of {read:,} records repeat another one exactly and were counted "
        "once: the log may have been exported twice."
    ),
    "coarse_clock": mark(
        "The log's clock is coarser than its records; records that share a time were "
        "spread evenly over it."
    ),
    "machines_told_apart": mark(
        "The log holds the records of {machines} machines that were in different places "
        "at the same time ({fewest:,} to {most:,} records each). They were told apart by "
        "their motion, and each was followed by itself."
    ),
    "machines_mixed": mark(
        "The log holds the records of {machines} machines that were in different places "
        "at the same time ({fewest:,} to {most:,} records each), and where they were "
        "close to one another it cannot be told for sure whose a record is. Give each "
        "machine's log alone if you can."
    ),
    "places_of_the_tool": mark(
        "The log holds the places of the tool itself, so where the antenna is and how "
        "the tool is towed were not used."
    ),
    # Of the drill's figures, found in the log or missing.
    "behind_found": mark(
        "Nobody said where the antenna is. The log fits a tool line {behind_m:length} "
        "behind it, give or take {sigma_m:small} ({ends} pass ends; {speed_mps:speed}), "
        "and that was used. Confirm it with a tape and write it down (antenna_ahead, tow "
        "and tool_behind of the implement)."
    ),
    "behind_found_with_delay": mark(
        "Nobody said where the antenna is, nor how long product takes to the opener. The "
        "log fits a tool line {behind_m:length} behind the antenna without a delay, give "
        "or take {sigma_m:small} ({ends} pass ends), and that was used; at "
        "{speed_mps:speed} each second of delay puts the tool {speed_mps:each_second} "
        "further behind. Measure both and write them down (antenna_ahead, tow, "
        "tool_behind and delay of the implement)."
    ),
    "delay_found": mark(
        "Nobody said how long product takes to the opener. The log fits a delay of "
        "{lag_s:.1f} s, give or take {sigma_s:.1f} s ({ends} pass ends), and that was "
        "used. Confirm it with a stopwatch and write it down (delay of the implement)."
    ),
    "delay_found_by_tool": mark(
        "Nobody said how long product takes to the opener. With the tool where it is "
        "said to be the log fits a delay of {lag_s:.1f} s, give or take {sigma_s:.1f} s "
        "({ends} pass ends), and that was used. Confirm both with a tape and a "
        "stopwatch, and write the delay down (delay of the implement)."
    ),
    "delay_found_with_tool": mark(
        "Nobody said where the antenna is, nor how long product takes to the opener. The "
        "log fits a tool line at the antenna with a delay of {lag_s:.1f} s, give or take "
        "{sigma_s:.1f} s ({ends} pass ends), and that was used; behind the antenna it "
        "would be a longer delay. Measure both and write them down (antenna_ahead, tow, "
        "tool_behind and delay of the implement)."
    ),
    "left_found": mark(
        "Nobody said how far the antenna is from the middle of the tool. The spacing of "
        "the passes alternates as if it were {off_m:small} to the left, give or take "
        "{sigma_m:small} ({seams} seams between passes), and that was used. Confirm it "
        "with a tape and write it down (antenna_left of the implement)."
    ),
    "right_found": mark(
        "Nobody said how far the antenna is from the middle of the tool. The spacing of "
        "the passes alternates as if it were {off_m:small} to the right, give or take "
        "{sigma_m:small} ({seams} seams between passes), and that was used. Confirm it "
        "with a tape and write it down (antenna_left of the implement, below zero)."
    ),
    "behind_unlike": mark(
        "The log fits a tool line {found_m:length} behind the antenna, give or take "
        "{sigma_m:small} ({ends} pass ends); {told_m:length} was said, and used. Measure "
        "it again: is a towed unit left out, or counted twice? Section control that is "
        "set for another place shows the same."
    ),
    "unit_left_out": mark(
        "The log fits a tool line {found_m:length} behind the antenna, give or take "
        "{sigma_m:small} ({ends} pass ends); {told_m:length} was said, and used. The "
        "difference of {off_m:length} is about the length of unit {unit} behind the "
        "drill, {unit_m:length}: does it ride between tractor and drill? Then it goes "
        "into tow, not behind."
    ),
    "unit_counted_twice": mark(
        "The log fits a tool line {found_m:length} behind the antenna, give or take "
        "{sigma_m:small} ({ends} pass ends); {told_m:length} was said, and used. The "
        "difference of {off_m:length} is about the length of towed unit {unit}, "
        "{unit_m:length}: was it not hitched, or is it counted twice?"
    ),
    "delay_or_unit": mark(
        "In that delay the drill goes {way_m:length}, which is about the length of towed "
        "unit {unit}, {unit_m:length}: if that was not hitched, or is counted twice, "
        "there is no such delay."
    ),
    "ends_or_hand": mark(
        "With the tool where it is said to be, work goes on and off {off_m:length} from "
        "where the passes beside say ({ends} pass ends): a hand on the switch is some "
        "{off_s:.1f} s off, or a figure of the drill is."
    ),
    "delay_unlike": mark(
        "The log fits a delay of {found_s:.1f} s, give or take {sigma_s:.1f} s ({ends} "
        "pass ends); {told_s:.1f} s was said, and used. Time it again."
    ),
    "left_unlike": mark(
        "The spacing of the passes alternates as if the antenna were {found_m:small} "
        "left of the middle of the tool, give or take {sigma_m:small} ({seams} seams "
        "between passes); {told_m:small} was said, and used. Measure it again."
    ),
    "width_unlike_passes": mark(
        "Adjacent passes lie {found_m:length} apart ({seams} seams between passes), and "
        "the tool is said to be {told_m:length} wide. Check the width."
    ),
    "tool_at_antenna": mark(
        "Nobody said where the antenna is: the logged positions were taken for the "
        "middle of the tool. Work goes on and off along the passes as it would there (to "
        "{off_m:length}, {ends} pass ends)."
    ),
    "tool_or_hand": mark(
        "Nobody said where the antenna is, and the logged positions were taken for the "
        "middle of the tool. Work goes on and off {off_m:length} from where the passes "
        "beside say ({ends} pass ends): the tool is elsewhere, product is late, or a "
        "hand on the switch is some {off_s:.1f} s off. Measure where the antenna is "
        "(antenna_ahead, tow and tool_behind of the implement)."
    ),
    "tool_unknown": mark(
        "Nobody said where the antenna is, and the log cannot tell: {why:why_not}. The "
        "logged positions were taken for the middle of the tool, so ends of passes and "
        "curves are not where it worked if it rides elsewhere. Measure it "
        "(antenna_ahead, tow and tool_behind of the implement)."
    ),
    "sparse_records": mark(
        "The records lie about {apart_m:length} and {interval_s:.0f} s apart. Between "
        "two of them the machine is taken to have gone on evenly: what it did in curves "
        "is not known, and where work began and ended only to half of that."
    ),
    "order_from_motion": mark(
        "The records are not in order of time, and {records:,} of them share a time with "
        "the one before: those were put in order by the way the machine went."
    ),
    "distance_disagrees": mark(
        "The logged distance is {ratio:.3f} times the distance between positions; "
        "positions were used. Check the distance sensor's setting or the unit of its "
        "column."
    ),
    "not_smoothed": mark("Positions were not smoothed, as asked."),
    "no_jitter": mark("The positions do not tremble enough to need smoothing."),
    "jitter_smoothed": mark(
        "Positions tremble by about {jitter_m:small}; they were smoothed along the path."
    ),
    # Of the state of work and of rows.
    "work_from_width": mark("Work was taken from the logged width: on where it is above zero."),
    "work_from_amount": mark("Work was inferred: on where a logged rate or flow is above zero."),
    "work_from_speed": mark(
        "Work was inferred: the log has no work state, width, rate or flow that is ever "
        "off, so every record at a steady speed counts as work, but not turns so tight "
        "that the inner openers would run backward. Turns with the tool up may be among it: "
        "at least as much was missed as is told, and at most as much doubled and put down. "
        "Log when the tool is down."
    ),
    "partial_width": mark(
        "{source}: {records:,} records have less than the full width; the log does not "
        "say which side was off, so the width was taken about the middle of the tool, "
        "and what was missed under the rest of it is in the total but not among the "
        "places."
    ),
    "width_over_tool": mark(
        "{source}: logged widths reach {widest_m:length} but the tool is {tool_m:length} "
        "wide; the tool's width was used. Check the width that was given."
    ),
    # Of shapes of ground.
    "shapes_not_drive": mark(
        "The log holds shapes of ground and no drive: cover, overlap, skips and amounts "
        "come from the shapes themselves, and passes, distance, speed and the rounds of "
        "the headland are not known."
    ),
    "cracks": mark(
        "Cracks between shapes narrower than {limit_m:length} were closed "
        "({cracks_m2:area}), and laps as narrow were not counted as overlap "
        "({laps_m2:area}): they come of drawing."
    ),
    "repeated_shapes": mark(
        "{records:,} of {read:,} shapes repeat another one exactly and were counted as "
        "ground covered again. If the log was exported twice, remove them."
    ),
    "blockages_unplaced": mark(
        "The blockages were not used: shapes of ground do not tell where the drill was "
        "at their time."
    ),
    "width_unlike_points": mark(
        "{source}: the points at the sections make a tool {points_m:length} wide, but "
        "{tool_m:length} were given and used. Check the width that was given."
    ),
    # Of amounts.
    "no_amount": mark("{product}: no rate is logged and none was given, so no amount is known."),
    "blank_amount": mark(
        "{product}: the log gives no amount for {share:.1%} of the time in work, and "
        "nothing was counted there."
    ),
    "blank_ground": mark(
        "{product}: the log gives no amount for {share:.1%} of the ground, and nothing "
        "was counted there."
    ),
    "unplaced_amount": mark(
        "{product}: {unplaced_kg:mass} were logged while no row was working or moving "
        "forward; they are not on the map and not in the totals."
    ),
    # Of the ground.
    "coarse_cells": mark(
        "The worked ground lies scattered so far apart that the rasters have cells of "
        "{cell_m:length}; what is counted by cells, such as the area within a tenth of "
        "the target, is rough."
    ),
    "grown_cells": mark(
        "The worked ground lies scattered: the rasters have cells of {cell_m:length}, "
        "larger than on a field as large, to fit into memory."
    ),
    "cropped_cells": mark(
        "The field is far larger than the ground that was worked, so the rasters show "
        "the worked ground alone, in cells of {cell_m:length}."
    ),
    "boundary_drawn": mark(
        "No boundary was given: one was drawn around the worked ground. Skips at the edge of the "
        "field cannot be judged, and ground within that was not to be worked counts as missed."
    ),
    # Of loads.
    "metered_outside_loads": mark(
        "{outside_kg:mass} of the {metered_kg:mass} that the meter counted fall outside "
        "the times of the load tickets. A ticket may be missing."
    ),
    "more_out_than_in": mark(
        "{more_kg:mass} more came out of the cart than went in. A filling is missing or "
        "a weight is wrong; the load is not used to judge the meter."
    ),
    "load_not_weighed": mark(
        "nothing was weighed after this filling, so what that load used is not known by weight."
    ),
    # Of needs, and of what the season put down.
    "field_not_audited": mark('"{field}" has needs, but no operation was audited on it.'),
    "zone_without_ground": mark("the zone {zone} has no workable ground."),
    "analysis_unknown": mark(
        "the analysis of {product} is not known, so its nutrients are not counted "
        "against the needs."
    ),
    "rates_not_told_by_needs": mark(
        "several operations or products bring {nutrient} ({products}), so the zones' "
        "needs do not tell the rate of each; their target rates are used."
    ),
    "above_highest_rate": mark(
        "the needs ask for more {product} than its rate_max; it is planned at rate_max."
    ),
    "below_least_rate": mark("the needs ask for less {product} than its rate_min."),
    "with_seed_unjudged": mark(
        "{product} was placed with the seed, but crop and opener are not given "
        "(with_seed), so it was not held against what the seed bears."
    ),
    "seed_tolerance_unknown": mark(
        "{product} on {crop}: how much the seed bears is not known. Slopes are known for "
        "{materials:and} on {crops}; ask locally, or give it under slopes."
    ),
    "over_seed_tolerance": mark(
        "{product}: more was placed with the seed than the screening formula allows for {crop}."
    ),
    "over_seed_tolerance_together": mark(
        "{products:and}: each is within the screening formula for {crop}, but together "
        "they cost {loss_percent:.0f} % of the stand by it."
    ),
    "seeds_unlike": mark(
        "a seed of {heavier} weighs {times:.1f} times one of {lighter}. The blend may "
        "separate in the cart: fill often, and check the last of a load against the "
        "first."
    ),
    "densities_unlike": mark(
        "{denser} is {times:.1f} times as dense as {lighter}. The blend may separate in "
        "the cart: fill often, and check the last of a load against the first."
    ),
    "separation_unknown": mark(
        "whether it separates in the cart cannot be told without the seed counts or bulk "
        "densities of its parts."
    ),
    # Of a meter's next setting, and of one noted before: the reasons why there is none.
    "setting_not_above_zero": mark("the setting is not above zero"),
    "tested_setting_too_far": mark("only one setting was tested, and that is too far"),
    "rate_unchanged_by_setting": mark("the rate does not change with the setting"),
    "line_below_zero": mark("the line meets the target only below zero"),
    "scatter_hides_change": mark("the scatter hides how the rate changes with the setting"),
    "target_beyond_settings": mark("the target lies beyond the settings that were tested"),
    "nothing_comparable": mark("the book holds nothing comparable"),
    "noted_setting_no_number": mark(
        "the setting noted there is no number that could be carried over"
    ),
    "noted_setting_too_far": mark("that is too far to carry a setting over"),
    # Of planned passes.
    "tool_does_not_fit": mark(
        "The tool does not fit into the field anywhere, not even with less than half of "
        "it beside the ground: there is nothing to drive."
    ),
    "no_room_inside_fence": mark(
        "Drill and tractor have no room to drive anywhere inside the fence: there is "
        "nothing to drive. Without the fence the drill may stick out over the boundary."
    ),
    "ground_out_of_reach": mark(
        "The tool does not reach {share:.1%} of the workable ground (places of note: "
        "{places}) without leaving it: sharp corners, places narrower than the tool, or no "
        "headland rounds."
    ),
    "narrower_than_tool": mark(
        "Where ground is narrower than the tool it is driven along its middle, and the "
        "tool sticks out: {outside_m2:area} outside the workable ground are seeded. Shut "
        "off rows there, or leave it out."
    ),
    "blocks_save": mark(
        "{blocks} blocks with headings of their own save {time_s:minutes} and "
        "{overlap_m2:area} of overlap against one heading. Drive them in the order "
        "given: each turns on ground that is not seeded yet."
    ),
    "blocks_save_time": mark(
        "{blocks} blocks with headings of their own save {time_s:minutes} against one "
        "heading, for {overlap_m2:area} more overlap. Drive them in the order given: "
        "each turns on ground that is not seeded yet."
    ),
    "blocks_save_seed": mark(
        "{blocks} blocks with headings of their own save {overlap_m2:area} of overlap "
        "against one heading, for {time_s:minutes} more. Drive them in the order given: "
        "each turns on ground that is not seeded yet."
    ),
    "crossed_lifted": mark(
        "Ground that is not worked but may be crossed is driven over with the drill "
        "lifted. Times: {times}."
    ),
    "runs_not_reached": mark(
        "Runs that cannot be reached inside the fence with this drill, or cannot be left "
        "again: {runs}. Their ground is left out. A shorter or narrower rig may come to "
        "more of it; where the fence can be opened, draw the boundary further out."
    ),
    "parts_not_driven": mark(
        "The fence holds separate parts ({parts}), and nothing drives from one to another "
        "inside it. Parts with no run planned: {bare}. Give each part as a field of its own."
    ),
    "radius_too_wide": mark(
        "With a turn radius of {radius_m:length}, runs cannot be reached inside the fence "
        "(how many: {runs}). The widest that would do is {most_m:length}."
    ),
    "nothing_turns": mark(
        "With a turn radius of {radius_m:length}, nothing turns round inside the fence: "
        "only what is come to without turning is planned. The widest that would do is "
        "{most_m:length}."
    ),
    "gate_too_tight": mark(
        "From the gate, with the whole rig inside the fence, less can be driven than "
        "from elsewhere: the drive does not begin or end there. Look how you come in."
    ),
    "no_way_out": mark(
        "From the last run no turn leads out through the gate with the whole rig inside "
        "the fence: look how you come out."
    ),
    "line_smoothed": mark(
        "The line to follow bends more sharply than the drill is turned: it was "
        "smoothed, by {length_m:length} at most."
    ),
    "turns_cross_unworkable": mark(
        "Turns that cross ground that is not to be worked, with the drill lifted: {turns}. "
        "Look whether it can be driven on, or put a fence round it into the boundary."
    ),
    "turns_back_up": mark(
        "Turns that are backed up in, where there is no room to turn forward: {turns}, "
        "{length_m:distance} in all."
    ),
    "radius_derived": mark(
        "No turn radius was given: {radius_m:length} at the hitch pin, the tightest that "
        "the drill's width and tow allow, was taken. Measure it, and give turn_radius."
    ),
    "tow_assumed": mark(
        "How the drill is towed was not given: {length_m:length} from hitch pin to its "
        "axle, as is common for its width, was taken. Turns need more room with a longer "
        "one."
    ),
    "gate_asks_to_fold": mark(
        "The gate is {gate_m:length} wide, and the drill {width_m:length}: it goes "
        "through only folded. How wide it is then was not told: give transport_width of "
        "the implement."
    ),
    "tractor_assumed": mark(
        "The tractor's size was not given: {length_m:length} ahead of the hitch pin and "
        "{width_m:length} wide was taken."
    ),
    # Of the herd and of seeding behind it.
    "no_herd": mark("No herd was given: whether the forage lasts for the moves is not checked."),
    "no_forage": mark("No forage was given for {paddocks}: it is not checked there."),
    "unknown_move": mark("The moves name {paddock}, which is no paddock here: they are left out."),
    "never_grazed": mark("The herd never comes to {paddocks}."),
    "moves_overlap": mark(
        "The herd enters {paddock} on {enters}, but leaves {before} only on {leaves}."
    ),
    "residual_unknown": mark(
        "What the herd leaves standing in {paddocks} is not known, so the limits on what "
        "is left standing and on regrowth are not held there."
    ),
    "window_cut_short": mark(
        "The window decided for {paddock} is {days} days shorter by the days to wait "
        "after the herd or to close after it."
    ),
    "nothing_done": mark(
        "No operation of the season has seeded a paddock so far: all of them are planned whole."
    ),
    "done_later": mark(
        "it was seeded up to {last} by the logs, after {day}, from which the rest is "
        "planned; all of that counts as done."
    ),
    "seed_used_unknown": mark(
        "how much seed went on it is not known, and is not taken off the seed on hand."
    ),
    "cart_taken_empty": mark(
        "What is left in the cart is not told: it was taken as empty. Say it with in_cart."
    ),
    "kept_out": mark("{area_m2:area} is left out as too wet, and is still to be seeded."),
    "waits_for_dry_ground": mark(
        "it waits until {day}, from when ground that was told as too wet bears the drill."
    ),
    "bag_opened": mark(
        "Whole bags do not make up load {loads:and}: a bag has to be opened there, and weighed."
    ),
    "filled_within_pass": mark(
        "The cart runs empty within a pass before load {loads:and}: it holds less than "
        "that pass takes, or the day has no time for a fill more."
    ),
    "left_for_whole_passes": mark(
        "Days end with a pass, and loads are of whole bags where seed comes in bags: "
        "{area_m2:area} less is seeded for that."
    ),
    # Of the weather of a plan.
    "spell_beyond_season": mark(
        "Spells of {spell_days:.0f} lost days on average are longer than the {days} days "
        "in question: weather takes most seasons whole or not at all."
    ),
    "few_past_years": mark(
        "it tells of {years} past years only: the chance of finishing is no surer than that."
    ),
    "past_days_unknown": mark(
        "{days} days of past seasons are not in it; they were taken as lost."
    ),
    "past_years_left_out": mark(
        "more than a twentieth of the days in question are not in it in {years}: those "
        "years were left out."
    ),
    "allowance_unlike_past": mark(
        "The plan leaves {told:.0%} of the days to weather, but by {source} {share:.0%} "
        "of these days were lost in past years."
    ),
    # Of a plan and what was done.
    "no_paddock_audited": mark(
        "No audited field has the name of a paddock of the plan: is it the plan of this "
        "season? The names have to be the same."
    ),
    "other_seed": mark(
        "{operation} is not counted; it placed {placed:and}, and the plan is of {product}."
    ),
    "seeding_undated": mark("neither the log nor the season file tells the day it was seeded."),
    "herd_back_too_soon": mark(
        "the plan has the herd back on {back}, but seeded when it was it is not to be "
        "grazed before {graze_from}."
    ),
}
"""By code: the sentence, its values in braces.

After the colon stands a quantity of `UnitSystem`, shown in both systems, ``small`` for lengths
of centimetres, ``and`` or ``quoted`` for tuples of names, or a format of Python's.
"""

_CHECK_EXPORT = mark("Check that the export is complete and that the position columns are right.")
REFUSALS: dict[str, tuple[str, str]] = {
    "gate_too_narrow": (
        mark(
            "What drives is {machine_m:length} wide on the road, more than the gate, "
            "{gate_m:length}."
        ),
        mark(
            "Correct width of the gate, transport_width of the implement or tractor_width, "
            "or give another gate."
        ),
    ),
    "radius_allows_no_turn": (
        mark("{radius_m:length} is too wide to turn round anywhere inside the fence."),
        mark("The widest that would do is {most_m:length}: give less, or leave it out."),
    ),
    "no_position": (
        mark("it holds no usable position, and one drive needs at least two."),
        _CHECK_EXPORT,
    ),
    "single_position": (
        mark("it holds a single usable position, and one drive needs at least two."),
        _CHECK_EXPORT,
    ),
    "jumping_positions": (
        mark(
            "the positions jump to and fro from record to record, as if two machines had "
            "been in different places at the same time."
        ),
        mark("Give each machine's log alone, and check that the column of times is the right one."),
    ),
    "path_all_gaps": (
        mark("the path is cut between all of its records: they lie too far apart in time."),
        mark(
            "Check the column of times, or allow a longer silence (max_gap, on the command "
            "line --max-gap)."
        ),
    ),
    "no_shape": (
        mark("none of its shapes lies on the field."),
        mark("Check that log and boundary belong together, and that the export is complete."),
    ),
    "drive_and_shapes": (
        mark("it holds shapes of ground, and another log of the same operation holds a drive."),
        mark("Give them as two operations."),
    ),
    "no_ground": (
        mark("the machine stood still: it covered no ground while it worked."),
        mark("Give the log of a drive, or check the columns of positions."),
    ),
    "no_work": (
        mark("no record shows work: the work state, width, sections or rate is off throughout."),
        mark(
            "Check which column holds the work state, or map another one (--column work=NAME "
            "or columns in the season file)."
        ),
    ),
    "ground_left_unknown": (
        mark("The field has no boundary, so nobody can say how much is still to do."),
        mark("Give --boundary, or type in the ground left with --area."),
    ),
    "no_past_season": (
        mark("It holds no year whole, from {first} to {last} with a week on either side."),
        mark("Give a table that does, or take out rain and give lost_chance."),
    ),
    "nothing_left": (
        mark("Nothing is left to do: the tracks leave no ground that makes a pass."),
        mark("Check that the boundary is the right one."),
    ),
    "no_product_known": (
        mark("No product is known for this job."),
        mark("Name it with --product."),
    ),
    "several_products": (
        mark("{operation} places {products:quoted}."),
        mark("Name one of them with --product."),
    ),
    "no_such_product": (
        mark('{operation} places no "{product}".'),
        mark("It places {products:quoted}."),
    ),
    "left_unknown": (
        mark("Nobody said how much {product} is left."),
        mark('Weigh it and give --left "1400 lb", or name load tickets in the season file.'),
    ),
    "cart_was_empty": (
        mark("After this ticket no {product} was in the cart."),
        mark('Give what is left now with --left "1400 lb".'),
    ),
    "placed_over_held": (
        mark(
            "By the log {placed_kg:mass} of {product} were placed since the last weighing, "
            "but only {held_kg:mass} were there."
        ),
        mark("Weigh what is left and give it with --left, or add the missing ticket."),
    ),
}
"""By code of what stops the work: what is wrong, and what to do."""


def sentence(finding: Finding) -> str:
    """Put a finding into words."""
    text = _fill(SENTENCES[finding.code], finding.values)
    place = finding.values.get("place")
    if isinstance(place, tuple):
        place = _listed(place)
    return text if place is None else f"{place}: {text}"


def _listed(places: tuple[str, ...]) -> str:
    named = ", ".join(places[:_FEW_PLACES])
    more = len(places) - _FEW_PLACES
    return tr("{named} and {more:,} more", named=named, more=more) if more > 0 else named


def reason(finding: Finding | None) -> str:
    """Put a reason into words, for the middle of a sentence; nothing for none."""
    return "" if finding is None else sentence(finding)


def sentences(findings: Iterable[Finding], severity: Severity) -> list[str]:
    """Put the findings of one severity into words, in their order."""
    return [sentence(finding) for finding in findings if finding.severity == severity]


@contextmanager
def refusals_in_words() -> Iterator[None]:
    """Say in words what stops the work inside.

    Raises
    ------
    InputError
        In place of a `FindingError`.
    """
    try:
        yield
    except FindingError as error:
        what, remedy = (_fill(words, error.values) for words in REFUSALS[error.code])
        raise InputError.at(error.file, error.place, what, remedy) from None


class _Filler(Filler):
    def format_field(self, value: Any, format_spec: str) -> str:
        if format_spec == "small":
            return tr(
                "{centimetres:.1f} cm ({inches:.1f} in)",
                centimetres=value * 100,
                inches=value / _INCH_M,
            )
        if format_spec == "minutes":
            return figure_text.duration(value)
        if format_spec == "why_not":
            return tr(WHY_NOT[value])
        if format_spec == "each_second":  # the way of a second at a speed
            return in_both("length", value)
        if format_spec == "known":  # a word of ours
            return tr(value)
        if format_spec == "remedy":
            return tr(_REMEDIES.get(value, _LOOK))
        if isinstance(value, tuple):
            if format_spec == "quoted":
                value = tuple(f'"{name}"' for name in value)
            return (tr(" and ") if format_spec == "and" else ", ").join(value)
        if format_spec in get_args(Shown):
            return in_both(format_spec, value)  # type: ignore[arg-type]
        if isinstance(value, dt.date):
            return date_text(value)
        return super().format_field(value, format_spec)


def _fill(words: str, values: Any) -> str:
    return _Filler().vformat(tr(words), (), values)
