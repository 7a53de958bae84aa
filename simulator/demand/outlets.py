"""The outlets that are open: from draws to the network's coefficients."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.physics.water import PA_PER_M

if TYPE_CHECKING:
    from simulator.demand.enduses import Use
    from simulator.works.hardware import Hardware
    from simulator.works.network import Network


class Outlets:
    """Open outlets. A plain one gives its flow at the middle of the switch's band, and with the root
    of the head at any other; a regulated one gives it at any."""

    def __init__(self, hardware: Hardware) -> None:
        self._hardware = hardware
        self._open: list[Use] = []

    def open(self, use: Use) -> None:
        self._open.append(use)

    def close(self, use: Use) -> None:
        self._open.remove(use)

    def set(self, network: Network, burst_m3_s: float) -> None:
        """Bring the network up to date; a burst is a hole at the line's end."""
        sizes, hardware = self._hardware.sizes, self._hardware
        middle_m = 0.5 * (hardware.cut_in_pa + hardware.cut_out_pa) / PA_PER_M
        network.outlets = []
        network.regulated_m3_s = 0.0
        for use in self._open:
            if use.regulated:
                network.regulated_m3_s += use.flow_m3_s
                continue
            height_m = sizes.house_height_m if use.place == "house" else sizes.garden_height_m
            network.outlets.append((use.flow_m3_s / max(middle_m - height_m, 1.0) ** 0.5, height_m))
        if burst_m3_s > 0.0:
            at_cut_out_m = hardware.cut_out_pa / PA_PER_M
            network.outlets.append((burst_m3_s / at_cut_out_m**0.5, 0.0))
