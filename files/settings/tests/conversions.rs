//! Every way in which a field can change, one after another.

use packstaff_settings::carry::{History, LostPart, Outcome, Plan, carry_record};
use packstaff_settings::dump::{from_text, read_record, seal};
use packstaff_settings::layout::Layout;

const TAIL: &str = "\n[memory]\nregions = [{ start = 0, size = 4096 }]\n";

fn layout(version: &str, number: u32, fields: &str, rest: &str) -> Layout {
    let text = format!(
        "format = 1\nversion = \"{version}\"\nnumber = {number}\nname = \"r{number}\"\nfield = [\n{fields}\n]\n{TAIL}{rest}"
    );
    Layout::from_text(version, &text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

fn history(old: &str, new: &str, rules: &str) -> History {
    let rules = format!("[[from]]\nversion = \"1.0\"\n{rules}");
    History::new(vec![layout("1.0", 1, old, ""), layout("1.1", 2, new, &rules)])
        .unwrap_or_else(|error| panic!("{error}"))
}

/// The settings after an update, as text, from settings as TOML.
fn after(history: &History, values: &str) -> Result<Vec<String>, String> {
    let (old, new) = (history.layout("1.0").unwrap(), history.layout("1.1").unwrap());
    let mut record = from_text(old, "values", values, None).unwrap_or_else(|error| panic!("{error}"));
    seal(old, &mut record, 1);
    let plan = history.plan("1.0", "1.1").unwrap();
    let made = carry_record(&plan, &record).map_err(|fault| fault.to_string())?;
    let reading = read_record(new, &made.record).unwrap();
    Ok(reading.settings.values().iter().map(ToString::to_string).collect())
}

fn lost(plan: &Plan) -> Vec<String> {
    plan.lost.iter().map(ToString::to_string).collect()
}

#[test]
fn names_flags_and_their_defaults() {
    let history = history(
        r#"{ name = "mode", type = "u8", names = { off = 0, slow = 1, fast = 2 } },
           { name = "marks", type = "u8", flags = { lamp = 0, horn = 1, fan = 7 } }"#,
        r#"{ name = "mode", type = "i16", names = { fast = -2, gentle = 5, off = 9 }, default = "off" },
           { name = "marks", type = "u16", flags = { fan = 0, lamp = 1, beacon = 9, log = 10 }, default = ["log"] }"#,
        r#"pair = [{ old = "mode", new = "mode", names = { slow = "gentle" } }]"#,
    );
    let plan = history.plan("1.0", "1.1").unwrap();
    assert_eq!(lost(&plan), ["marks: horn"]);
    let made = |values| after(&history, values).unwrap();
    assert_eq!(
        made("mode = \"slow\"\nmarks = [\"lamp\", \"horn\"]"),
        ["gentle", "lamp, log"]
    );
    assert_eq!(made("mode = \"fast\"\nmarks = [\"fan\"]"), ["fast", "fan, log"]);
    assert_eq!(made("mode = \"off\"\nmarks = []"), ["off", "log"]);
}

#[test]
fn formulas_floats_and_rounding() {
    let history = history(
        r#"{ name = "speed", type = "u16", unit = "km", scale = "1/10" },
           { name = "turns", type = "u16" },
           { name = "gain", type = "f32" },
           { name = "level", type = "f64", unit = "V" }"#,
        r#"{ name = "speed", type = "f32", unit = "m" },
           { name = "ratio", type = "i32", scale = "1/3" },
           { name = "gain", type = "f64", min = 0.5, max = 2, default = 1 },
           { name = "level", type = "i16", unit = "mV", min = -1000, max = 1000 }"#,
        r#"pair = [{ old = "turns", new = "ratio", factor = "-2/3", offset = 1 }, { old = "level", new = "level", clamp = true }]"#,
    );
    let made = |values| after(&history, values).unwrap();
    assert_eq!(
        made("speed = 1.5\nturns = 2\ngain = 1.25\nlevel = 0.1235"),
        ["1500.0 m", "-1/3", "1.25", "124 mV"]
    );
    // 3 is out of what the gain may be: not said to be clamped, so as in a new unit. The level is clamped.
    assert_eq!(made("gain = 3\nlevel = 7"), ["0.0 m", "1", "1.0", "1000 mV"]);
    assert_eq!(made("gain = 0.25\nlevel = -7.0"), ["0.0 m", "1", "1.0", "-1000 mV"]);
}

#[test]
fn a_calibration_out_of_range_stays_where_it_is() {
    let fields = |max: u32| format!("{{ name = \"zero\", type = \"u16\", max = {max}, kind = \"calibration\" }}");
    let forgotten = history(&fields(1000), &fields(500), "");
    let plan = forgotten.plan("1.0", "1.1").unwrap();
    assert_eq!(lost(&plan), ["zero: values above 500"]);
    assert_eq!(plan.objections().len(), 1);
    assert_eq!(after(&forgotten, "zero = 400").unwrap(), ["400"]);
    let refused = after(&forgotten, "zero = 600").unwrap_err();
    assert!(
        refused.contains("not allowed there, and the rule for it is to refuse"),
        "{refused}"
    );
    let clamped = history(
        &fields(1000),
        &fields(500),
        "pair = [{ old = \"zero\", new = \"zero\", clamp = true }]",
    );
    assert!(clamped.plan("1.0", "1.1").unwrap().objections().is_empty());
    assert_eq!(after(&clamped, "zero = 600").unwrap(), ["500"]);
    let loss = "loss = [{ field = \"zero\", way = \"up\", because = \"Above 500 the sensor was broken.\" }]";
    let allowed = history(&fields(1000), &fields(500), loss);
    assert!(allowed.plan("1.0", "1.1").unwrap().objections().is_empty());
    assert_eq!(after(&allowed, "zero = 600").unwrap(), ["0"]);
}

#[test]
fn arrays_grow_and_shrink_and_come_out_of_each_other() {
    let long = history(
        r#"{ name = "cells", type = "u8", count = 2 }, { name = "label", type = "text", length = 8 }, { name = "raw", type = "bytes", length = 4 }"#,
        r#"{ name = "first", type = "u8" }, { name = "cells", type = "u16", count = 4, default = 7 }, { name = "label", type = "text", length = 5 }, { name = "raw", type = "bytes", length = 6, default = 170 }"#,
        r#"pair = [{ old = "cells[0]", new = "first" }, { old = "cells[1]", new = "cells[2]" }, { old = "label", new = "label", clamp = true }]"#,
    );
    let made = after(&long, "cells = [3, 4]\nlabel = \"größer\"\nraw = \"01020304\"").unwrap();
    // The text is cut before a letter that would be torn: "größ" has six bytes in UTF-8, "grö" four.
    assert_eq!(made, ["3", "7", "7", "4", "7", "\"grö\"", "01020304aaaa"]);
    let group = "\n[[group]]\nname = \"p\"\nfield = [{ name = \"n\", type = \"u8\" }, { name = \"s\", type = \"u8\", count = COUNT, used = \"n\" }]\n";
    let with = |version, number, count: &str, rest: &str| {
        let rest = format!("{}{rest}", group.replace("COUNT", count));
        layout(version, number, "{ name = \"p\", type = \"p\", count = 3 }", &rest)
    };
    let history = History::new(vec![
        with("1.0", 1, "4", ""),
        with("1.1", 2, "2", "[[from]]\nversion = \"1.0\"\n"),
    ])
    .unwrap();
    let plan = history.plan("1.0", "1.1").unwrap();
    let step = plan.lost.iter().find(|lost| lost.field == "p.s").unwrap();
    assert_eq!(step.what, LostPart::Beyond { kept: 2, of: 4 });
    let fate = plan.fates.iter().find(|fate| fate.field == "p.s").unwrap();
    assert_eq!((fate.outcome, fate.elements), (Outcome::Kept, (6, 6)));
}

/// What lies in the new record where nothing comes from is the default; big-endian records are turned round.
#[test]
fn byte_orders() {
    let old = layout(
        "1.0",
        1,
        r#"{ name = "a", type = "u32" }, { name = "b", type = "i16" }"#,
        "",
    );
    let text = format!(
        "format = 1\nversion = \"1.1\"\nnumber = 2\nname = \"r2\"\norder = \"big\"\nfield = [{{ name = \"b\", type = \"i32\" }}, {{ name = \"a\", type = \"u32\" }}, {{ name = \"c\", type = \"u16\", default = 258 }}]\n{TAIL}\n[[from]]\nversion = \"1.0\"\n"
    );
    let new = Layout::from_text("1.1", &text).unwrap_or_else(|error| panic!("{error}"));
    let history = History::new(vec![old, new]).unwrap();
    let plan = history.plan("1.0", "1.1").unwrap();
    let made = carry_record(&plan, &[0x78, 0x56, 0x34, 0x12, 0xfe, 0xff, 0, 0]).unwrap();
    assert_eq!(
        made.record,
        [0xff, 0xff, 0xff, 0xfe, 0x12, 0x34, 0x56, 0x78, 1, 2, 0, 0]
    );
}
