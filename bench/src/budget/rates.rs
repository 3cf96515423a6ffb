//! The rates that a board's updates are timed with.

use packstaff_product::{Board, Budget, UpdateRates};
use packstaff_unit::part::Part;
use packstaff_unit::timing::Rates;

/// Bytes of a stick's block.
const BLOCK: f64 = 512.0;

/// What the maker states, and the usual rates for the rest. Without a stated clock, the part's highest is taken.
pub fn rates(stated: Option<&Budget>, board: &Board, part: &Part) -> Rates {
    let clock_mhz = stated.and_then(|stated| stated.board(&board.revision)?.clock_mhz);
    let highest = part.clock_hz_max.unwrap_or(48_000_000) as f64;
    let usual = Rates::portable(clock_mhz.map_or(highest, |mhz| mhz * 1e6));
    let ours = stated.map(|stated| stated.rates).unwrap_or_default();
    let UpdateRates {
        sha256_cycles_per_byte,
        aes_cycles_per_byte,
        signature_cycles,
        stick_kb_per_s,
        stick_kb_per_s_slowest,
        stick_ready_s,
        stick_ready_s_longest,
    } = ours;
    let blocks = |kb: f64| kb * 1000.0 / BLOCK;
    let blocks_per_s_typical = stick_kb_per_s.map_or(usual.blocks_per_s_typical, blocks);
    let ready_s_typical = stick_ready_s.unwrap_or(usual.ready_s_typical);
    Rates {
        clock_hz: usual.clock_hz,
        sha256_cycles_per_byte: sha256_cycles_per_byte.unwrap_or(usual.sha256_cycles_per_byte),
        aes_cycles_per_byte: aes_cycles_per_byte.unwrap_or(usual.aes_cycles_per_byte),
        signature_cycles: signature_cycles.unwrap_or(usual.signature_cycles),
        blocks_per_s_typical,
        // A stick that is stated to be slow is never slower at best than at worst.
        blocks_per_s_slowest: stick_kb_per_s_slowest
            .map_or(usual.blocks_per_s_slowest, blocks)
            .min(blocks_per_s_typical),
        ready_s_typical,
        ready_s_longest: stick_ready_s_longest
            .unwrap_or(usual.ready_s_longest)
            .max(ready_s_typical),
    }
}
