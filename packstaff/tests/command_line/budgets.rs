//! The verb `budget`, and what a release says about the limits that are stated.

use crate::support::{FAILED, Folder, HOLDS, REFUSED, row, tool, verdicts};
use serde_json::Value;
use std::path::Path;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[track_caller]
fn close(ours: f64, by_hand: f64, part: f64) {
    assert!(
        (ours / by_hand - 1.0).abs() < part,
        "{ours} where {by_hand} was worked out"
    );
}

/// Every figure of board C, worked out by hand from the demo's inputs and from data sheets.
#[test]
fn the_demo_s_figures_are_those_worked_out_by_hand() {
    let folder = Folder::demo();
    let report = folder.run(&["budget", ".", "--json"]).ended(HOLDS).json();
    let board = &report["budget"]["boards"][0];
    assert_eq!(board["board"], "C");

    // 24LC256: a page of 64 bytes at 100 kHz is 67 bytes of nine clocks, start and stop; 5 ms of writing; 2 ms to notice.
    let needed = 0.002 + (67.0 * 9.0 + 2.0) / 100e3 + 0.005;
    let off = &board["off"]["Ok"];
    close(number(&off["needed_s"]), needed, 1e-9);
    // 45 mA from 4.75 V to 3.6 V behind 80 milliohms; then 20 % of tolerance and 20 % of age.
    let least = 0.045 * needed / (4.75 - 3.6 - 0.045 * 0.08);
    close(number(&off["needed_f"]), least, 1e-6);
    close(number(&off["smallest_f"]), least / 0.64, 1e-6);
    close(number(&off["next_e6_f"]), 1000e-6, 1e-9);
    close(number(&off["next_e12_f"]), 820e-6, 1e-9);
    close(number(&off["held_s"]), needed * 2200e-6 * 0.64 / least, 1e-6);

    // A million cycles (24LC256), 40 saves a day, every second one into the same page.
    close(number(&board["memory"]["Ok"]["years"]), 1e6 / 20.0 / 365.25, 1e-9);
    assert_eq!(board["memory"]["Ok"]["first"], serde_json::json!(["settings"]));
    assert_eq!(board["memory"]["Ok"]["cells"].as_array().unwrap().len(), 42);
    // Ten thousand cycles (STM32F405), one in an update, two updates a year.
    close(number(&board["flash"]["years"]), 5000.0, 1e-9);
    // The slot: one sector of 64 KiB and three of 128 KiB, 3.55 s typical and 7.1 s at most (DS8626, table 40).
    let erasing = &board["updates"][0]["time"]["phases"][2];
    assert_eq!(erasing["name"], "erasing");
    close(number(&erasing["typical_s"]), 3.55, 1e-9);
    close(number(&erasing["longest_s"]), 7.1, 1e-9);
    // 1.4 interruptions a year, for so long, among 260 owners.
    let longest = number(&board["updates"][0]["time"]["longest_s"]);
    let expected = 260.0 * 1.4 * longest / 31_557_600.0;
    close(number(&board["cuts"]["by_mains"]["expected"]), expected, 1e-9);
    // 2^255 keys at 10^12 a second: 5.79e64 s.
    close(number(&report["budget"]["key_search"]["mean_s"]), 5.789604e64, 1e-6);

    // Board D, behind a switching regulator: less than by the formula without resistance would be too little.
    let off = &report["budget"]["boards"][1]["off"]["Ok"];
    let power = 3.3 * 0.045 / 0.8;
    let ideal = 2.0 * power * needed / (11.4_f64.powi(2) - 6.0_f64.powi(2));
    let least = number(&off["needed_f"]);
    assert!(least > ideal && least < ideal * 1.02, "{least} {ideal}");
}

/// An install with made-up keys does what the release's own installs do.
#[test]
fn the_trial_agrees_with_the_rehearsal() {
    let folder = Folder::demo();
    let budget = folder.run(&["budget", ".", "--json"]).ended(HOLDS).json();
    let rehearsed = folder
        .open(&[
            "rehearse", ".", "--faults", "none", "--to", "2.0", "--from", "1.8", "--json",
        ])
        .ended(HOLDS)
        .json();
    let cases = rehearsed["rehearsal"]["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 2);
    for (board, case) in budget["budget"]["boards"].as_array().unwrap().iter().zip(cases) {
        let time = &board["updates"][0]["time"];
        assert_eq!(board["updates"][0]["of"], "to 2.0");
        // Texts in the manifest differ a little in length.
        let install = &case["installs"][0];
        close(number(&time["typical_s"]), number(&install["typical_s"]), 0.01);
        close(number(&time["longest_s"]), number(&install["longest_s"]), 0.01);
    }
}

#[test]
fn other_values_are_tried_without_changing_anything() {
    let folder = Folder::demo();
    let before = folder.tree();
    let tried = [
        "budget",
        ".",
        "--board",
        "C",
        "--try",
        "capacitor_uf=470",
        "--try",
        "finish=save",
    ];
    let run = folder.run(&tried).ended(REFUSED);
    for part in [
        "budget with capacitor_uf = 470, finish = save",
        "NO Held up at power-off, board C",
        "470 µF hold 7.7 ms in the worst case",
        "expected  at least 234.0 ms, until a whole save of settings is written",
        "E6 is 15000 µF",
    ] {
        assert!(
            run.stdout.replace('\u{a0}', " ").contains(part),
            "{part}: {}",
            run.stdout
        );
    }
    assert!(!run.stdout.contains("board D"), "{}", run.stdout);
    let run = folder.run(&["budget", ".", "--try", "update_limit_s=25"]).ended(HOLDS);
    let row = run
        .stdout
        .lines()
        .find(|line| line.contains("An update that fills the slot"));
    assert_eq!(row.unwrap().matches("  look ").count(), 2, "{}", run.stdout);
    let seconds = |clock: &str| {
        let clock = format!("clock_mhz={clock}");
        let report = folder.run(&["budget", ".", "--try", &clock, "--json"]).json();
        number(&report["budget"]["boards"][0]["updates"][0]["time"]["phases"][1]["typical_s"])
    };
    close(seconds("16"), seconds("160") * 10.0, 1e-9);
    assert_eq!(folder.tree(), before);
}

#[test]
fn what_was_seen_among_owners_gives_a_rate() {
    let folder = Folder::demo();
    folder.edit(
        "product.toml",
        "key_trials_per_s = 1e12\n",
        "key_trials_per_s = 1e12\ncuts_seen = 3\nupdates_seen = 1200\n",
    );
    let report = folder.run(&["budget", ".", "--json"]).ended(HOLDS).json();
    let seen = &report["budget"]["boards"][0]["cuts"]["as_seen"];
    // Garwood's limits for a count of 3 are 0.619 and 8.77.
    close(number(&seen["chance"][0]), 0.619 / 1200.0, 1e-3);
    close(number(&seen["chance"][1]), 8.77 / 1200.0, 1e-3);
    close(number(&seen["forecast"]["expected"]), 260.0 * 3.0 / 1200.0, 1e-9);
    assert_eq!(verdicts(&report, "Cuts among owners", "cuts-as-seen"), ["pass", "pass"]);
}

#[test]
fn what_cannot_be_reckoned_is_said() {
    let folder = Folder::demo();
    let refused = |more: &[&str], why: &str| {
        folder
            .run(&[&["budget", "."], more].concat())
            .ended(FAILED)
            .complains(why);
    };
    refused(&["--board", "E"], "there is no board E");
    refused(&["--try", "capacitor=3"], "did you mean `capacitor_uf`?");
    refused(&["--try", "owners=-1"], "which is not a number from 0 to 1000000000");
    refused(&["--try", "owners"], "KEY=VALUE");
    let text = folder.text("product.toml");
    folder.write("product.toml", &text[..text.find("\n[budget]").unwrap()]);
    refused(&[], "product.toml has no [budget]");
}

/// A record that does not fit the memory, and a resistance that no capacitor makes up for.
#[test]
fn what_cannot_be_had_is_a_limit_that_is_not_kept() {
    let folder = Folder::demo();
    folder.edit("product.toml", "apart = 0x4000", "apart = 0x7F00");
    let tried = ["budget", ".", "--board", "C", "--try", "esr_mohm=30000"];
    let run = folder.run(&tried).ended(REFUSED);
    for part in [
        "the record \"settings\" ends at 0x8440, and the memory at 0x8000",
        "no capacitor is large enough: 4.750 V",
    ] {
        assert!(run.stdout.contains(part), "{part}: {}", run.stdout);
    }
}

#[test]
fn pages_and_curves_are_whole() {
    let folder = Folder::demo();
    let report = folder
        .run(&["budget", ".", "--out", "pictures", "--json"])
        .ended(HOLDS)
        .json();
    let names: Vec<_> = report["written"]
        .as_array()
        .unwrap()
        .iter()
        .map(|name| name.as_str().unwrap())
        .collect();
    assert_eq!(names.len(), 5);
    // Python's XML parser as a second opinion: a browser forgives what it does not.
    let script = "import sys, xml.etree.ElementTree as tree\n\
                  for name in sys.argv[1:]:\n  \
                      root = tree.parse(name).getroot()\n  \
                      print(root.tag, len(root.findall('.//{http://www.w3.org/2000/svg}path')))";
    let svgs: Vec<_> = names
        .iter()
        .filter(|name| name.ends_with(".svg"))
        .map(|name| folder.path(name))
        .collect();
    let printed = tool("python3", "python3", |python| python.args(["-c", script]).args(&svgs));
    // Two lines and a level, each with its sample; of wear three lines and no level, for no cell comes near it.
    let svg = "{http://www.w3.org/2000/svg}svg 6\n";
    assert_eq!(printed, svg.repeat(4));
    let page = folder.text("pictures/budget.html");
    assert_eq!(page.matches("<svg").count(), 4);
    assert!(
        page.contains("settings first, in the page at 0x0000, after 137 years"),
        "{page}"
    );
    assert!(!page.contains("NaN") && !page.contains("inf"), "{page}");
}

#[test]
fn a_release_keeps_the_limits_that_are_stated() {
    let folder = Folder::small();
    folder.edit("product.toml", "update_limit_s = 120", "update_limit_s = 10");
    folder.edit("product.toml", "per_day_most = 40", "per_day_most = 4000");
    folder.edit("product.toml", "capacitor_uf = 2200", "capacitor_uf = 680");
    let report = folder.release("2.1", &["--json"]).ended(REFUSED).json();
    for (id, why) in [
        ("update-limit", "at most 10 s, as `update_limit_s` in product.toml says"),
        ("settings-memory", "at least 15 years, as `years` in product.toml says"),
        ("held-up", "at least 13.1 ms, until one page is written"),
        (
            "hold-up-stated",
            "35.0 ms, as `supply` of the board says (`hold_up_ms`)",
        ),
    ] {
        assert_eq!(verdicts(&report, "Budget", id), ["fail"], "{id}");
        let cells = row(&report, "Budget", id).unwrap();
        assert_eq!(cells[0]["expected"], why);
    }
    assert_eq!(verdicts(&report, "Budget", "flash"), ["pass"]);
    assert!(!folder.path("ledger").exists());
}

#[test]
fn a_product_without_a_budget_is_released_as_before() {
    let folder = Folder::small();
    let text = folder.text("product.toml");
    folder.write("product.toml", &text[..text.find("\n[budget]").unwrap()]);
    let report = folder.release("2.1", &["--dry-run", "--json"]).ended(HOLDS).json();
    let sections: Vec<_> = report["sections"]
        .as_array()
        .unwrap()
        .iter()
        .map(|section| section["title"].as_str().unwrap())
        .collect();
    assert!(!sections.contains(&"Budget"), "{sections:?}");
}

/// The guide shows the demo's curves and report. `PACKSTAFF_WRITE_DOCS=1` writes the curves anew; the report is pasted by hand.
#[test]
fn the_guide_shows_what_the_demo_gives() {
    let folder = Folder::demo();
    let run = folder.run(&["budget", ".", "--out", "pictures"]).ended(HOLDS);
    let guide = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src");
    for (ours, theirs) in [
        ("hold-up-D.svg", "budget-hold-up.svg"),
        ("wear-C.svg", "budget-wear.svg"),
    ] {
        let drawn = folder.text(&format!("pictures/{ours}"));
        let shown = guide.join(theirs);
        if std::env::var_os("PACKSTAFF_WRITE_DOCS").is_some() {
            std::fs::write(&shown, &drawn).unwrap();
        }
        let shown = std::fs::read_to_string(&shown).unwrap();
        assert!(
            shown == drawn,
            "docs/src/{theirs} is not what the demo gives: PACKSTAFF_WRITE_DOCS=1 renews it"
        );
    }
    let page = std::fs::read_to_string(guide.join("budget.md")).unwrap();
    let without_files = |text: &str| {
        let lines = text
            .lines()
            .filter(|line| !line.starts_with("  wrote "))
            .map(str::trim_end);
        lines.filter(|line| !line.is_empty()).collect::<Vec<_>>().join("\n")
    };
    assert!(
        without_files(&page).contains(&without_files(&run.stdout)),
        "docs/src/budget.md does not show this:\n{}",
        run.stdout
    );
}

/// Each number with what it takes.
#[test]
fn the_guide_has_every_number_of_a_budget() {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src/product-file.md");
    let page = std::fs::read_to_string(page).unwrap();
    let written = |number: f64| match number {
        many if many >= 1e6 => format!("{many:e}"),
        few => few.to_string(),
    };
    let mut found = 0;
    for quantity in packstaff_product::Budget::quantities() {
        let key = format!("`{}`", quantity.key);
        let row = page.lines().find(|line| line.starts_with('|') && line.contains(&key));
        let row = row.unwrap_or_else(|| panic!("docs/src/product-file.md has no row for {key}"));
        assert!(
            row.contains(&written(quantity.most)),
            "{key}: up to {}: {row}",
            quantity.most
        );
        found += 1;
    }
    assert!(found > 20, "{found}");
}

/// What the demo's budget says is saved is what its newest layout says lies in the settings memory.
#[test]
fn the_demo_s_saves_are_those_of_its_layout() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/kc4");
    let read = |name: &str| -> toml::Value {
        let text = std::fs::read_to_string(demo.join(name)).unwrap();
        toml::from_str(&text).unwrap()
    };
    let (product, layout) = (read("product.toml"), read("settings/2.1.toml"));
    let save = &product["budget"]["save"][0];
    let integer = |key: &str| save[key].as_integer().unwrap();
    assert_eq!(Some(integer("bytes")), layout["size"].as_integer());
    let places: Vec<_> = (0..integer("places"))
        .map(|place| toml::Value::Integer(integer("at") + place * integer("apart")))
        .collect();
    assert_eq!(Some(&places), layout["memory"]["copies"].as_array());
}
