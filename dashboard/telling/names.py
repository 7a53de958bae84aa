"""What each number of a finding's evidence is called on the page: words for whoever stands at the pump.

The names in findings are the core's own, for whoever reads them by a program; they end in their unit.
"""

from __future__ import annotations

EVIDENCE: dict[str, str] = {
    # runs of the pump
    "run_time_s": "Runs last",
    "expected_run_time_s": "Runs should last",
    "run_time_after_s": "Runs last again",
    "run_age_s": "The pump had run for",
    "starts_in_hour_1": "Starts in the last hour",
    "starts_1": "Starts in a row that lifted nothing",
    "unseen_runs_1": "Runs in a day that no word of the motor met",
    "pressure_start_pa": "Runs start at",
    "charge_pa": "The tank is empty below",
    "pressure_stop_pa": "Runs stop at",
    "leapt_from_pa": "The gauge leapt from",
    "leapt_to_pa": "The gauge leapt to",
    "cut_in_moved_pa": "Cut-in has moved by",
    "cut_out_moved_pa": "Cut-out has moved by",
    "cut_in_pa": "Cut-in",
    "usual_stop_pa": "It usually stops at",
    "apparent_delivery_share_1": "Pressure climbs, against its usual speed",
    "motor_share_1": "The motor draws, of its usual",
    "gone_for_now_1": "Gone for now, as it went before",
    # what the pump brings and what is drawn
    "delivery_m3_s": "Delivery",
    "delivery_mid_m3_s": "Delivery now",
    "expected_delivery_mid_m3_s": "Delivery when clean",
    "delivery_share_1": "Delivery, of its usual",
    "delivery_after_share_1": "Delivery since then, of its usual",
    "draw_over_delivery_1": "Drawn, in times what the pump can bring",
    "draw_share_1": "Large draws, of what they were",
    "draw_after_share_1": "Large draws since then, of what they were",
    "draw_clean_m3_s": "The largest drew, when clean",
    "draw_now_m3_s": "It draws now",
    "zones_agreeing_1": "Draws of different size that agree",
    "for_filter_1": "Likelihood that it is the filter, not the pump",
    "filter_resistance_share_1": "The filter resists, against its usual",
    "tank_slope_m3_s": "Water into the pressure tank",
    # pressures
    "pressure_pa": "Pressure",
    "discharge_pa": "Pressure at the pump's outlet",
    # leaks
    "night_flow_m3_s": "Lost while nobody draws",
    "limit_m3_s": "Called from",
    "storage_back_share_1": "Share of it that comes back into storage",
    "storage_back_error_1": "That share is sure within",
    "leak_m3_s": "The leak",
    "loss_m3_s": "It loses",
    "quiet_s": "Watched while nobody drew",
    "quiet_time_s": "Watched while the pump rested",
    "lost_m3": "Lost meanwhile",
    # storage and its days
    "level_m": "Level",
    "usable_m3": "Water above the outlet",
    "empty_p10_s": "Empty at the earliest in",
    "empty_p50_s": "Empty most likely in",
    "empty_p90_s": "Empty at the latest in",
    "empty_by_leak_alone_s": "Empty by the leak alone in",
    "inflow_m3": "Came in while it was full",
    # air, salt, sensors
    "air_temperature_c": "Air at the pipe",
    "limit_c": "Called below",
    "supply_conductivity_s_m": "Salt in the supply",
    "limit_s_m": "Limit for what grows here",
    "silent_s": "Not heard for",
    "silent_signals_1": "Sensors that fell silent together",
    "bad_words_1": "Readings that cannot be",
    "runs_meanwhile_1": "Runs meanwhile",
    "equal_words_1": "Equal readings in a row",
    "usual_words_1": "Most in a row before",
    "ran_meanwhile_s": "The pump ran meanwhile for",
}
#: Shares that say how likely something is or how sure: in percent, never "times".
CHANCES = frozenset({"for_filter_1", "storage_back_error_1"})
#: Flows that are small and go on and on: as volume a day, or they read as nothing.
SEEPS = frozenset({"leak_m3_s", "loss_m3_s", "limit_m3_s", "night_flow_m3_s"})
