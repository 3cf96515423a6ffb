//! A chart: lines over two axes, with levels across and moments upright.

use super::axis::Axis;
use maud::{Markup, html};

const WIDTH: f64 = 780.0;
const HEIGHT: f64 = 380.0;
const LEFT: f64 = 58.0;
const RIGHT: f64 = 210.0;
const BOTTOM: f64 = 46.0;
const LINE_HEIGHT: f64 = 14.0;
/// Length of the sample of a line beside its words.
const SAMPLE: f64 = 22.0;

const INK: &str = "#201a15";
const SOFT: &str = "#51473c";
const GRID: &str = "#b9ab98";
const PAPER: &str = "#fffcf6";
const BLUE: &str = "#0072b2";
const VERMILION: &str = "#d55e00";

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// What is to be expected: whole.
    Usual,
    /// The worst case: dashed, stronger.
    Worst,
    /// Something beside: dotted.
    Beside,
}

/// A line through points.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// The words at its end.
    pub label: String,
    /// How it is drawn.
    pub look: Look,
    /// Its points, from left to right.
    pub points: Vec<(f64, f64)>,
}

/// A level across the whole chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Its words.
    pub label: String,
    /// Where on the upright axis.
    pub value: f64,
}

/// A moment, from bottom to top.
#[derive(Clone, Debug, PartialEq)]
pub struct Moment {
    /// Its words.
    pub label: String,
    /// Where on the axis across.
    pub value: f64,
}

/// A chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// What it shows, in a sentence: read aloud where the picture cannot be seen.
    pub title: String,
    /// The axis across.
    pub across: Axis,
    /// The axis upright.
    pub upright: Axis,
    /// The lines.
    pub lines: Vec<Line>,
    /// Levels.
    pub levels: Vec<Level>,
    /// Moments, told above the chart, each on a line of its own.
    pub moments: Vec<Moment>,
}

impl Chart {
    /// As a file of its own, or to be set into a page.
    pub fn svg(&self) -> String {
        self.markup().into_string()
    }

    fn top(&self) -> f64 {
        12.0 + LINE_HEIGHT * self.moments.len() as f64
    }

    fn x(&self, value: f64) -> f64 {
        LEFT + self.across.place(value).clamp(0.0, 1.0) * (WIDTH - LEFT - RIGHT)
    }

    fn y(&self, value: f64) -> f64 {
        let room = HEIGHT - BOTTOM - self.top();
        HEIGHT - BOTTOM - self.upright.place(value).clamp(0.0, 1.0) * room
    }

    fn markup(&self) -> Markup {
        let (end, bottom, top) = (WIDTH - RIGHT, HEIGHT - BOTTOM, self.top());
        html! {
            svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } width=(WIDTH) height=(HEIGHT)
                role="img" font-family="Avenir Next, Segoe UI, Helvetica Neue, Arial, Liberation Sans, sans-serif"
                font-size="11" font-weight="600" fill=(INK) {
                title { (self.title) }
                rect width=(WIDTH) height=(HEIGHT) fill=(PAPER) {}
                @for (value, text) in self.across.ticks() {
                    @let x = at(self.x(value));
                    line x1=(x) y1=(at(top)) x2=(x) y2=(at(bottom)) stroke=(GRID) stroke-width="1" {}
                    text x=(x) y=(at(bottom + 16.0)) text-anchor="middle" { (text) }
                }
                @for (value, text) in self.upright.ticks() {
                    @let y = self.y(value);
                    line x1=(at(LEFT)) y1=(at(y)) x2=(at(end)) y2=(at(y)) stroke=(GRID) stroke-width="1" {}
                    text x=(at(LEFT - 7.0)) y=(at(y + 4.0)) text-anchor="end" { (text) }
                }
                text x=(at((LEFT + end) / 2.0)) y=(at(HEIGHT - 10.0)) text-anchor="middle" fill=(SOFT) { (self.across.label) }
                text transform={ "translate(14 " (at((top + bottom) / 2.0)) ") rotate(-90)" } text-anchor="middle" fill=(SOFT) {
                    (self.upright.label)
                }
                rect x=(at(LEFT)) y=(at(top)) width=(at(end - LEFT)) height=(at(bottom - top)) fill="none" stroke=(INK) {}
                @for (index, moment) in self.moments.iter().enumerate() {
                    @let x = self.x(moment.value);
                    @let y = 11.0 + LINE_HEIGHT * index as f64;
                    line x1=(at(x)) y1=(at(y + 3.0)) x2=(at(x)) y2=(at(bottom)) stroke=(INK) stroke-width="1.2" {}
                    // Words keep inside the picture: to the left of their line where there is no room to its right.
                    @if x + width(&moment.label) + 5.0 > WIDTH {
                        text x=(at(x - 5.0)) y=(at(y)) text-anchor="end" { (moment.label) }
                    } @else {
                        text x=(at(x + 5.0)) y=(at(y)) { (moment.label) }
                    }
                }
                @for level in &self.levels {
                    @let y = at(self.y(level.value));
                    (drawn(&format!("M{} {y}H{}", at(LEFT), at(end)), LEVEL))
                }
                @for line in &self.lines { (self.line(line)) }
                @for words in self.end_words() {
                    @let y = words.top + LINE_HEIGHT * 0.8;
                    (drawn(&format!("M{} {}H{}", at(end + 8.0), at(y - 4.0), at(end + 8.0 + SAMPLE)), words.stroke))
                    @for (row, text) in words.rows.iter().enumerate() {
                        text x=(at(end + SAMPLE + 14.0)) y=(at(y + LINE_HEIGHT * row as f64)) { (text) }
                    }
                }
            }
        }
    }

    fn line(&self, line: &Line) -> Markup {
        let mut path = String::new();
        for (index, (x, y)) in self.inside(&line.points).iter().enumerate() {
            let to = if index == 0 { 'M' } else { 'L' };
            path.push_str(&format!("{to}{} {}", at(self.x(*x)), at(self.y(*y))));
        }
        drawn(&path, line.look.stroke())
    }

    /// The points that lie in the chart, and where a line leaves it.
    fn inside(&self, points: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let (right, top) = (self.across.to, self.upright.to);
        let mut kept = Vec::new();
        for (index, &(x, y)) in points.iter().enumerate() {
            if x <= right && y <= top {
                kept.push((x, y));
                continue;
            }
            let Some(&(x0, y0)) = index.checked_sub(1).and_then(|before| points.get(before)) else {
                break;
            };
            let along = |from: f64, to: f64, edge: f64| match to > edge {
                true => (edge - from) / (to - from),
                false => 1.0,
            };
            let share = along(x0, x, right).min(along(y0, y, top));
            kept.push((x0 + share * (x - x0), y0 + share * (y - y0)));
            break;
        }
        kept
    }

    /// The words right of the chart, each near the end of its line or level and clear of the others.
    fn end_words(&self) -> Vec<Words> {
        let ends = self.lines.iter().filter_map(|line| {
            let (_, y) = *self.inside(&line.points).last()?;
            Some((&line.label, self.y(y), line.look.stroke()))
        });
        let levels = self
            .levels
            .iter()
            .map(|level| (&level.label, self.y(level.value), LEVEL));
        let words = ends.chain(levels).map(|(label, y, stroke)| {
            let rows = wrapped(label);
            Words {
                top: y - LINE_HEIGHT * rows.len() as f64 / 2.0,
                rows,
                stroke,
            }
        });
        let mut words: Vec<_> = words.collect();
        words.sort_by(|a, b| a.top.total_cmp(&b.top));
        // Downward until none covers the one above; then the whole column up by what hangs over.
        let mut free = 2.0_f64;
        for word in &mut words {
            word.top = word.top.max(free);
            free = word.top + word.height() + 4.0;
        }
        let mut free = HEIGHT - BOTTOM + 6.0;
        for word in words.iter_mut().rev() {
            word.top = word.top.min(free - word.height());
            free = word.top - 4.0;
        }
        words
    }
}

/// Words beside the chart, with a sample of the line that they are about.
#[derive(Debug)]
struct Words {
    rows: Vec<String>,
    top: f64,
    stroke: Stroke,
}

impl Words {
    fn height(&self) -> f64 {
        LINE_HEIGHT * self.rows.len() as f64
    }
}

/// Colour, width and dashes.
type Stroke = (&'static str, &'static str, Option<&'static str>);

const LEVEL: Stroke = (INK, "2", Some("1 3"));

impl Look {
    const fn stroke(self) -> Stroke {
        match self {
            Self::Usual => (BLUE, "2", None),
            Self::Worst => (VERMILION, "2.6", Some("8 4")),
            Self::Beside => (INK, "1.6", Some("5 2 1 2")),
        }
    }
}

fn drawn(path: &str, (colour, width, dashes): Stroke) -> Markup {
    html! {
        path d=(path) fill="none" stroke=(colour) stroke-width=(width) stroke-dasharray=[dashes] stroke-linejoin="round" {}
    }
}

/// A length in the picture, to a tenth.
fn at(length: f64) -> String {
    let text = format!("{length:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

/// About how wide a text is: no font is wider than this on average.
fn width(text: &str) -> f64 {
    text.chars().count() as f64 * 6.4
}

fn wrapped(label: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in label.split(' ') {
        match lines.last_mut() {
            Some(line) if width(line) + width(word) + 6.4 <= RIGHT - SAMPLE - 18.0 => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart() -> Chart {
        let line = |label: &str, look, slope: f64| Line {
            label: label.to_owned(),
            look,
            points: vec![(0.0, 0.0), (20.0, 20.0 * slope)],
        };
        Chart {
            title: "Rises & falls".to_owned(),
            across: Axis::covering("years", 0.0, 20.0),
            upright: Axis::covering("% of cycles", 0.0, 100.0),
            lines: vec![
                line("one", Look::Usual, 1.0),
                line("two", Look::Worst, 1.01),
                line("steep", Look::Beside, 50.0),
            ],
            levels: vec![Level {
                label: "rated <cycles>".to_owned(),
                value: 100.0,
            }],
            moments: vec![Moment {
                label: "a moment with many words".to_owned(),
                value: 19.0,
            }],
        }
    }

    #[test]
    fn lines_end_where_they_leave_the_chart() {
        let chart = chart();
        assert_eq!(chart.inside(&chart.lines[2].points), [(0.0, 0.0), (2.0, 100.0)]);
        assert_eq!(chart.inside(&[(30.0, 1.0)]), []);
    }

    #[test]
    fn words_do_not_cover_one_another() {
        let words = chart().end_words();
        assert_eq!(words.len(), 4);
        let clear = |pair: &[Words]| pair[0].top + pair[0].height() <= pair[1].top;
        assert!(words.windows(2).all(clear), "{words:?}");
        let inside = |word: &Words| word.top >= 0.0 && word.top + word.height() < HEIGHT;
        assert!(words.iter().all(inside), "{words:?}");
    }

    #[test]
    fn words_are_escaped_and_lines_differ_without_colour() {
        let svg = chart().svg();
        assert!(svg.contains("rated &lt;cycles&gt;") && svg.contains("Rises &amp; falls"));
        // Each line and its sample.
        let dashed = |dashes: &str| svg.matches(&format!("stroke-dasharray=\"{dashes}\"")).count();
        assert_eq!((dashed("8 4"), dashed("5 2 1 2"), dashed("1 3")), (2, 2, 2));
        assert_eq!(svg.matches("NaN").count() + svg.matches("inf").count(), 0);
    }
}
