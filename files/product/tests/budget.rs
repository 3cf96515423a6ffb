//! The budget of a product file: as the demo states it, every complaint, and other values tried.

mod common;

use common::{demo_text, parts};
use packstaff_product::{Budget, Finish, Product, Regulator, WhatIfError};
use proptest::prelude::*;

fn read(text: &str) -> Result<Product, String> {
    Product::read("product.toml", text, parts()).map_err(|error| error.to_string())
}

fn demo_budget() -> Budget {
    read(&demo_text()).unwrap().budget.unwrap()
}

#[test]
fn the_demo_states_a_budget() {
    let budget = demo_budget();
    assert_eq!((budget.years, budget.interruptions_per_year), (15.0, 1.4));
    assert_eq!(budget.key_trials_per_s, 1e12);
    assert_eq!(budget.seen, None);
    let save = budget.save("settings").unwrap();
    assert_eq!((save.bytes, save.places, save.apart), (1344, 2, 0x4000));
    let (c, d) = (budget.board("C").unwrap(), budget.board("D").unwrap());
    assert_eq!((c.owners, d.owners), (260.0, 140.0));
    let off = c.power_off.as_ref().unwrap();
    assert_eq!((off.regulator, off.finish), (Regulator::Linear, Finish::Page));
    assert_eq!((off.cold_percent, off.saving_load_ma), (0.0, None));
    let switching = Regulator::Switching {
        efficiency_percent: 80.0,
    };
    assert_eq!(d.power_off.as_ref().unwrap().regulator, switching);
    assert!(budget.board("E").is_none());
}

#[test]
fn a_product_without_a_budget_reads_as_well() {
    let text = demo_text();
    let without = &text[..text.find("\n[budget]").unwrap()];
    assert_eq!(read(without).unwrap().budget, None);
}

/// What is changed in the demo's budget, what it becomes, and what the complaint says.
const CASES: &[(&str, &str, &str)] = &[
    (
        "years = 15 ",
        "year = 15 ",
        "[budget] has no key `year`. Did you mean `years`?",
    ),
    (
        "years = 15 ",
        "years = 0 ",
        "`years` is 0, which is not a number from 0.1 to 100 years. Write a number from that range.",
    ),
    (
        "years = 15 ",
        "years = \"15\" ",
        "`years` is a text, where a number is expected",
    ),
    (
        "years = 15 ",
        "years = nan ",
        "`years` is nan, which is not a finite number",
    ),
    ("updates_per_year = 2\n", "", "[budget] lacks `updates_per_year`"),
    (
        "= 1.4 ",
        "= -1.4 ",
        "`interruptions_per_year` is -1.4, which is not a number from 0 to 10000 a year",
    ),
    ("= 1e12", "= 1e12\ncuts_seen = 3", "[budget] lacks `updates_seen`"),
    (
        "= 1e12",
        "= 1e12\ncuts_seen = 3\nupdates_seen = 2",
        "`cuts_seen` is 3, which is not a whole number of cuts, at most `updates_seen`",
    ),
    (
        "= 1e12",
        "= 1e12\ncuts_seen = 1.5\nupdates_seen = 2",
        "`cuts_seen` is 1.5, which is not a whole number of cuts",
    ),
    (
        "= 1e12",
        "= 1e12\nrates = { clock = 1 }",
        "[budget.rates] has no key `clock`",
    ),
    (
        "bytes = 1344",
        "bytes = 0",
        "`bytes` is 0, which is not a whole number from 1 to 16777216",
    ),
    (
        "apart = 0x4000",
        "apart = 100",
        "`apart` is 100, which is not at least the 1344 bytes of the save",
    ),
    (
        "per_day_most = 40",
        "per_day_most = 1",
        "`per_day_most` is 1, which is not at least `per_day`, 2",
    ),
    (
        "revision = \"C\"\nowners",
        "revision = \"E\"\nowners",
        "`revision` names \"E\", which is not in the boards of this file",
    ),
    (
        "minimum_mv = 3600",
        "minimum_mv = 4800",
        "`minimum_mv` is 4800, which is not below `start_mv`, 4750 mV",
    ),
    (
        "regulator = \"linear\"",
        "regulator = \"linea\"",
        "`regulator` is \"linea\", which is not one of linear, switching. Did you mean \"linear\"?",
    ),
    (
        "regulator = \"linear\"",
        "regulator = \"linear\"\nefficiency_percent = 80",
        "`efficiency_percent` is 80, which is not of use to a linear regulator",
    ),
    (
        "efficiency_percent = 80\n",
        "",
        "[budget.board.power_off] lacks `efficiency_percent`",
    ),
    (
        "save = \"settings\"",
        "save = \"setings\"",
        "`save` names \"setings\", which is not in the saves of [budget]. Did you mean `settings`?",
    ),
    (
        "finish = \"page\"",
        "finish = \"all\"",
        "`finish` is \"all\", which is not one of page, save",
    ),
];

#[test]
fn every_complaint_says_what_and_where() {
    let text = demo_text();
    let budget = text.find("\n[budget]").unwrap();
    for (from, to, complaint) in CASES {
        let at = text[budget..]
            .find(from)
            .unwrap_or_else(|| panic!("the demo no longer has {from:?}"))
            + budget;
        let changed = [&text[..at], to, &text[at + from.len()..]].concat();
        let said = read(&changed).expect_err("it must be refused");
        assert!(said.contains(complaint), "{to:?}: {said}");
        assert!(said.starts_with("product.toml:"), "{said}");
    }
}

/// Two boards of the same revision, or two saves of the same name, would leave open which is meant.
#[test]
fn names_are_told_apart() {
    let twice = |from: &str, to: &str| read(&demo_text().replace(from, to)).expect_err("it must be refused");
    let said = twice("revision = \"D\"\nowners", "revision = \"C\"\nowners");
    assert!(
        said.contains("the revision \"C\" stands here for the second time"),
        "{said}"
    );
    let save = "[[budget.save]]\nname = \"settings\"\nat = 0\nbytes = 4\nper_day = 1\nper_day_most = 1\n\n[[budget.board]]\nrevision = \"C\"";
    let said = twice("[[budget.board]]\nrevision = \"C\"", save);
    assert!(
        said.contains("the save \"settings\" stands here for the second time"),
        "{said}"
    );
}

#[test]
fn other_values_are_tried_wherever_their_key_stands() {
    let mut budget = demo_budget();
    for (key, value) in [
        ("capacitor_uf", "470"),
        ("finish", "save"),
        ("clock_mhz", "16"),
        ("per_day_most", "1e3"),
        ("efficiency_percent", "75"),
        ("saving_load_ma", "12.5"),
        ("update_limit_s", "5"),
    ] {
        budget = budget.with(key, value).unwrap();
    }
    let offs: Vec<_> = budget
        .boards
        .iter()
        .filter_map(|board| board.power_off.as_ref())
        .collect();
    assert!(
        offs.iter()
            .all(|off| off.capacitor_uf == 470.0 && off.finish == Finish::Save)
    );
    assert!(offs.iter().all(|off| off.saving_load_ma == Some(12.5)));
    assert!(budget.boards.iter().all(|board| board.clock_mhz == Some(16.0)));
    assert_eq!(
        (budget.saves[0].per_day_most, budget.update_limit_s),
        (1000.0, Some(5.0))
    );
    let switching = Regulator::Switching {
        efficiency_percent: 75.0,
    };
    assert_eq!((offs[0].regulator, offs[1].regulator), (Regulator::Linear, switching));
}

#[test]
fn what_cannot_be_tried_is_said() {
    let said = |key: &str, value: &str| demo_budget().with(key, value).unwrap_err().to_string();
    assert_eq!(
        said("capacitor", "470"),
        "a budget has no key `capacitor` that can be tried; did you mean `capacitor_uf`?"
    );
    assert!(
        said("colour", "1").contains("there are years, updates_per_year, "),
        "{}",
        said("colour", "1")
    );
    assert_eq!(
        said("capacitor_uf", "big"),
        "`capacitor_uf` is \"big\", which is not a number from 0.001 to 1000000000 µF"
    );
    assert_eq!(
        said("finish", "all"),
        "`finish` is \"all\", which is not one of page, save"
    );
    let mut bare = demo_budget();
    bare.boards.clear();
    assert_eq!(
        bare.with("owners", "3"),
        Err(WhatIfError::NoPlace {
            key: "owners",
            missing: "there is no [[budget.board]] for the boards that are looked at"
        })
    );
}

proptest! {
    /// Whatever is tried, a number that is taken is one that the product file would take.
    #[test]
    fn tried_numbers_keep_to_their_ranges(number: f64) {
        for quantity in Budget::quantities() {
            let taken = demo_budget().with(quantity.key, &number.to_string()).is_ok();
            prop_assert_eq!(taken, quantity.takes(number), "{}", quantity.key);
        }
    }
}
