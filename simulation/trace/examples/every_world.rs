//! The tracer against all worlds that the explorer reaches, with up to two cuts inside of each change: `cargo run -p
//! packstaff-trace --example every_world` takes some minutes and prints the figures of `docs/src/trace.md`.

#[path = "../../rehearsal/tests/support/mod.rs"]
mod support;

#[path = "../tests/samples/mod.rs"]
mod samples;

use packstaff_rehearsal::explore::Faults;
use samples::{Sample, check_worlds};
use support::Flashes;
use support::case::case;

fn main() {
    let all = Sample::of(2, 1);
    for (name, flashes, image) in [
        ("pages with check bits", Flashes::Pages, 3000),
        ("sectors of different sizes", Flashes::Mixed, 3000),
        ("an image that fills its slot", Flashes::Tiny, 180),
    ] {
        println!("{name}: {}", check_worlds(&case(flashes, image), Faults::all(), all));
    }
}
