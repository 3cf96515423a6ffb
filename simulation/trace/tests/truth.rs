//! The truth recovered: for every world that the explorer reaches, the account must be right about the version, about how far the
//! install came, and about the stick that repairs the unit.
//!
//! The truth is the world's own story, played again on flash as it is. From it alone comes what was being done, of which version, and
//! how many bytes of it were written; and it is the world itself, with its doubtful cells in every reading, that is repaired by the
//! stick that the account names. The tracer sees bytes only.
//!
//! These tests look at some of the worlds, so that they take seconds; the example `every_world` looks at many more.

#[path = "../../rehearsal/tests/support/mod.rs"]
mod support;

#[path = "samples/mod.rs"]
mod samples;

use packstaff_rehearsal::explore::Faults;
use samples::{Sample, check_worlds};
use support::Flashes;
use support::case::case;

/// Pages with check bits: cells that a cut has left can be unreadable, and are holes in a read-out.
#[test]
fn the_truth_is_recovered_on_pages_with_check_bits() {
    let tally = check_worlds(&case(Flashes::Pages, 3000), Faults::all(), Sample::of(2, 19));
    eprintln!("pages: {tally}");
    assert!(tally.worlds > 1000, "{tally}");
    tally.assert_every_phase_was_there();
}

/// Sectors of different sizes, where a cut can leave an earlier image's remains beside a later one's.
#[test]
fn the_truth_is_recovered_on_sectors_of_different_sizes() {
    let tally = check_worlds(&case(Flashes::Mixed, 3000), Faults::all(), Sample::of(2, 53));
    eprintln!("mixed: {tally}");
    tally.assert_every_phase_was_there();
}

/// An image that fills its slot, so that it reaches into the sector of the descriptor.
#[test]
fn the_truth_is_recovered_where_the_image_fills_the_slot() {
    let tally = check_worlds(&case(Flashes::Tiny, 180), Faults::all(), Sample::of(2, 53));
    eprintln!("tiny: {tally}");
    tally.assert_every_phase_was_there();
}

/// These checks can fail: with two images exchanged, no stick works as the tracer expects, and it is noticed.
#[test]
#[should_panic(expected = "no stick is named")]
fn a_wrong_account_is_noticed() {
    let sample = Sample {
        misinformed: true,
        ..Sample::of(0, 1)
    };
    check_worlds(&case(Flashes::Tiny, 180), Faults::named("cuts").unwrap(), sample);
}
