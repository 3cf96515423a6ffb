//! Paths of fields and elements: `prog.seg.temp` stands for every `prog[2].seg[5].temp`.

/// One name of a path, with its index if it has one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) name: String,
    pub(super) index: Option<u32>,
}

/// A path taken apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Path(pub(super) Vec<Part>);

impl Path {
    pub(super) fn parse(text: &str) -> Self {
        let part = |text: &str| match text.strip_suffix(']').and_then(|text| text.split_once('[')) {
            Some((name, index)) => Part {
                name: name.to_owned(),
                index: index.parse().ok(),
            },
            None => Part {
                name: text.to_owned(),
                index: None,
            },
        };
        Self(text.split('.').map(part).collect())
    }

    pub(super) fn text(&self) -> String {
        let part = |part: &Part| match part.index {
            Some(index) => format!("{}[{index}]", part.name),
            None => part.name.clone(),
        };
        self.0.iter().map(part).collect::<Vec<_>>().join(".")
    }

    /// The names alone.
    pub(super) fn plain(&self) -> String {
        self.0
            .iter()
            .map(|part| part.name.as_str())
            .collect::<Vec<_>>()
            .join(".")
    }

    /// How many names of the rule `rule` this element begins with; `None` if it does not. An index in the rule must be met.
    fn begins_with(&self, rule: &Self) -> Option<usize> {
        let meets = |(own, wanted): (&Part, &Part)| {
            own.name == wanted.name && (wanted.index.is_none() || wanted.index == own.index)
        };
        (rule.0.len() <= self.0.len() && self.0.iter().zip(&rule.0).all(meets)).then_some(rule.0.len())
    }

    /// This element's path on the other side of a rule: indices that the rule leaves open are taken over in their order.
    /// `arrays` says for each name of `to` whether it is an array there.
    pub(super) fn through(&self, rule: &Self, to: &Self, arrays: impl Fn(usize) -> bool) -> Option<Self> {
        let matched = self.begins_with(rule)?;
        let mut open = self
            .0
            .iter()
            .zip(&rule.0)
            .filter(|(_, wanted)| wanted.index.is_none())
            .filter_map(|(own, _)| own.index);
        let mut parts = Vec::new();
        for (position, part) in to.0.iter().enumerate() {
            let index = match part.index {
                Some(index) => Some(index),
                None if arrays(position) => Some(open.next()?),
                None => None,
            };
            parts.push(Part {
                name: part.name.clone(),
                index,
            });
        }
        // An index that has nowhere to go: the two sides are arrays of different depths.
        if open.next().is_some() {
            return None;
        }
        parts.extend(self.0.iter().skip(matched).cloned());
        Some(Self(parts))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn through(element: &str, rule: &str, to: &str, arrays: &[bool]) -> Option<String> {
        let path = Path::parse(element);
        path.through(&Path::parse(rule), &Path::parse(to), |at| {
            arrays.get(at).copied().unwrap_or(false)
        })
        .map(|path| path.text())
    }

    #[test]
    fn indices_go_where_the_rule_leaves_room() {
        assert_eq!(
            through("calibration.channel[1].gain", "calibration.channel", "tc", &[true]).as_deref(),
            Some("tc[1].gain")
        );
        assert_eq!(
            through("prog[2].seg[5].temp", "prog.seg", "programmes.steps", &[true, true]).as_deref(),
            Some("programmes[2].steps[5].temp")
        );
        assert_eq!(
            through("watch_ofs", "watch_ofs", "tc[1].ofs", &[true, false]).as_deref(),
            Some("tc[1].ofs")
        );
        assert_eq!(
            through("tc[1].ofs", "tc[1].ofs", "watch_ofs", &[false]).as_deref(),
            Some("watch_ofs")
        );
        assert_eq!(through("tc[0].ofs", "tc[1].ofs", "watch_ofs", &[false]), None);
        assert_eq!(
            through("tc[0].ofs", "tc", "single", &[false]),
            None,
            "an index with nowhere to go"
        );
    }
}
