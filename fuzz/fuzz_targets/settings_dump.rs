//! Any bytes as a dump of the demo's settings memory: read, shown in every form, and carried over to every other version.

#![no_main]

use libfuzzer_sys::fuzz_target;
use packstaff_settings::carry::{History, carry_record};
use packstaff_settings::dump::{from_text, read, read_record};
use packstaff_settings::layout::Layout;
use std::sync::LazyLock;

static HISTORY: LazyLock<History> = LazyLock::new(|| {
    let layouts = [
        include_str!("../../demo/kc4/settings/1.8.toml"),
        include_str!("../../demo/kc4/settings/2.0.toml"),
        include_str!("../../demo/kc4/settings/2.1.toml"),
    ];
    let layouts = layouts.map(|text| Layout::from_text("demo", text).expect("the demo's layouts are sound"));
    History::new(layouts.to_vec()).expect("the demo's layouts go together")
});

fuzz_target!(|input: (u8, &[u8])| {
    let (which, dump) = input;
    let layouts = HISTORY.layouts();
    let layout = &layouts[usize::from(which) % layouts.len()];
    let Ok(reading) = read(layout, dump) else { return };
    let _ = reading.settings.to_json();
    // Out-of-range values are shown, and refused when they are written; nothing else may go wrong with our own text.
    let _ = from_text(layout, "fuzz", &reading.settings.to_toml(), Some(&reading.record));
    for to in layouts.iter().filter(|to| to.version != layout.version) {
        let plan = HISTORY
            .plan(&layout.version, &to.version)
            .expect("every pair has a plan");
        if let Ok(carried) = carry_record(&plan, &reading.record) {
            read_record(to, &carried.record).expect("a record of the other version");
        }
    }
});
