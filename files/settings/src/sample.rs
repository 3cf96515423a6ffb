//! Settings that an owner could have, for trials: made from a layout alone.

use crate::dump::{number_bytes, seal};
use crate::layout::{ByteOrder, Layout, Leaf, Meaning, Number, Purpose, Shape, Stored};

/// Which settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sample {
    /// As in a new unit.
    New,
    /// Each as far from that as it may be: at that end of its range which is farther away; every flag the other way round; texts
    /// as long as they may be.
    Farthest,
}

impl Sample {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::New, Self::Farthest];

    /// A sealed record of a layout; its generation is 0.
    pub fn record(self, layout: &Layout) -> Vec<u8> {
        let mut record = vec![0; layout.record.size as usize];
        for leaf in layout.leaves() {
            if !matches!(leaf.purpose, Purpose::Setting(_)) {
                continue;
            }
            let mut bytes = self.bytes(&leaf, layout.order == ByteOrder::Big);
            bytes.resize(leaf.size as usize, 0);
            let place = record.get_mut(leaf.at as usize..).unwrap_or_default();
            place.iter_mut().zip(bytes).for_each(|(to, from)| *to = from);
        }
        seal(layout, &mut record, 0);
        record
    }

    fn bytes(self, leaf: &Leaf<'_>, big: bool) -> Vec<u8> {
        let far = self == Self::Farthest;
        match &leaf.field.shape {
            Shape::Number(number) if far => number_bytes(number.repr, farthest(number), big),
            Shape::Number(number) => number_bytes(number.repr, number.default, big),
            Shape::Text { length, .. } if far => (b'A'..=b'Z').cycle().take(*length as usize).collect(),
            Shape::Text { default, .. } => default.as_bytes().to_vec(),
            Shape::Bytes { length, default } => {
                let byte = if far { !*default } else { *default };
                vec![byte; *length as usize]
            }
            Shape::Group(_) => Vec::new(),
        }
    }
}

fn farthest(number: &Number) -> Stored {
    let default = number.default;
    match (&number.meaning, default) {
        (Meaning::Names(names), Stored::Integer(default)) => {
            let others = names.iter().map(|(_, value)| *value);
            Stored::Integer(others.max_by_key(|value| value.abs_diff(default)).unwrap_or(default))
        }
        (Meaning::Flags(flags), Stored::Integer(default)) => {
            let all = flags.iter().fold(0, |all, (_, bit)| all | 1_i128 << bit);
            Stored::Integer(default ^ all)
        }
        (_, Stored::Integer(default)) => {
            let (low, high) = number.repr.limits().unwrap_or((0, 0));
            let end = |stored: Option<Stored>, limit: i128| match stored {
                Some(Stored::Integer(value)) => value,
                _ => limit,
            };
            let ends = [end(number.lowest, low), end(number.highest, high)];
            let far = ends.into_iter().max_by_key(|end| end.abs_diff(default));
            Stored::Integer(far.unwrap_or(default))
        }
        (_, Stored::Real(default)) => {
            let end = |stored: Option<Stored>, limit: f64| match stored {
                Some(Stored::Real(value)) => value,
                _ => limit,
            };
            // Without a range, a thousand to either side: what a float can hold is no measure of what an owner sets.
            let low = end(number.lowest, default - 1000.0);
            let high = end(number.highest, default + 1000.0);
            Stored::Real(if high - default >= default - low { high } else { low })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dump::read_record;

    const LAYOUT: &str = r#"
format = 1
version = "1.0"
number = 1
name = "things"
field = [
    { name = "limit", type = "i16", min = -40, max = 30, default = 20 },
    { name = "raw", type = "u16", default = 5 },
    { name = "mode", type = "u8", names = { off = 0, on = 1, auto = 7 }, default = "on" },
    { name = "marks", type = "u8", flags = { loud = 0, bright = 3 }, default = ["loud"] },
    { name = "ratio", type = "f32", min = 0.5, max = 2, default = 1 },
    { name = "label", type = "text", length = 4, default = "x" },
    { name = "crc", type = "u32", holds = "crc32" },
]
[memory]
regions = [{ start = 0, size = 256 }]
"#;

    #[test]
    fn samples_are_whole_and_in_range() {
        let layout = Layout::from_text("test", LAYOUT).unwrap();
        let shown = |sample: Sample| -> Vec<String> {
            let reading = read_record(&layout, &sample.record(&layout)).unwrap();
            assert!(reading.chosen.is_some(), "{sample:?}: {:?}", reading.copies);
            let values = reading.settings.values();
            assert!(values.iter().all(|value| value.doubt.is_none()), "{values:?}");
            values.into_iter().map(ToString::to_string).collect()
        };
        assert_eq!(shown(Sample::New), ["20", "5", "on", "loud", "1.0", "\"x\""]);
        assert_eq!(
            shown(Sample::Farthest),
            ["-40", "65535", "auto", "bright", "2.0", "\"ABCD\""]
        );
    }
}
