//! Room for labels inside a figure: none over another, and clear of the curves.

use super::svg::{Anchor, FONT};

/// Width of a character, about: digits of common sans-serifs have 0.55 to 0.64 of the size.
const CHARACTER: f64 = 0.555 * FONT;
/// How far text reaches above and below its baseline.
pub(super) const ASCENT: f64 = 0.73 * FONT;
const DESCENT: f64 = 0.2 * FONT;
/// Distance of two places that are tried one after the other, and how many are.
const STEP: f64 = 5.0;
const STEPS: usize = 24;
/// A label further from its point than this has a pointer.
const POINTED: f64 = 9.0;

/// A pointer through another label is worse than any number of points under one.
const CROSSED: usize = 1000;

/// Width of a text, about.
pub(super) fn across(text: &str) -> f64 {
    CHARACTER * text.chars().count() as f64
}

/// Left, top, right, bottom.
type Area = [f64; 4];

fn area((x, baseline): (f64, f64), text: &str) -> Area {
    [x, baseline - ASCENT, x + across(text), baseline + DESCENT]
}

/// Where a label may stand to its tip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    Up,
    Down,
}

impl Way {
    pub(super) const BOTH: [Self; 2] = [Self::Up, Self::Down];
}

/// A label that found its place.
pub(super) struct Label {
    /// Left end of its baseline.
    pub(super) at: (f64, f64),
    /// Where its pointer begins, if it needs one.
    pub(super) pointer: Option<(f64, f64)>,
}

/// What is drawn, and which labels stand already.
pub(super) struct Room {
    inside: Area,
    drawn: Vec<(f64, f64)>,
    taken: Vec<Area>,
}

impl Room {
    pub(super) fn between(inside: Area) -> Self {
        Self { inside, drawn: Vec::new(), taken: Vec::new() }
    }

    /// Notes a line, close enough for no label to fit between its points.
    pub(super) fn draw(&mut self, line: &[(f64, f64)]) {
        self.drawn.extend(line.first());
        for pair in line.windows(2) {
            let [(x, y), (to_x, to_y)] = [pair[0], pair[1]];
            let count = ((to_x - x).hypot(to_y - y) / STEP).ceil().max(1.0) as usize;
            self.drawn.extend((1..=count).map(|k| {
                let share = k as f64 / count as f64;
                (x + share * (to_x - x), y + share * (to_y - y))
            }));
        }
    }

    /// Notes a label that stands where it was told to.
    pub(super) fn take(&mut self, (x, baseline): (f64, f64), anchor: Anchor, text: &str) {
        let left = match anchor {
            Anchor::Start => x,
            Anchor::Middle => x - 0.5 * across(text),
            Anchor::End => x - across(text),
        };
        self.taken.push(area((left, baseline), text));
    }

    /// How much is drawn where a label would stand; `None` where it would stand over another or outside.
    fn covers(&self, [left, top, right, bottom]: Area) -> Option<usize> {
        let [from, above, to, below] = self.inside;
        let inside = left >= from && top >= above && right <= to && bottom <= below;
        let apart = |[l, t, r, b]: &Area| right + 4.0 <= *l || *r + 4.0 <= left || bottom <= *t || *b <= top;
        (inside && self.taken.iter().all(apart)).then(|| {
            let under = |&&(x, y): &&(f64, f64)| {
                x > left - 2.0 && x < right + 2.0 && y > top - 4.0 && y < bottom + 2.0
            };
            self.drawn.iter().filter(under).count()
        })
    }

    /// Whether a pointer would run through a label that stands already.
    fn crosses(&self, from: (f64, f64), to: (f64, f64)) -> bool {
        let mut pointer = Self::between(self.inside);
        pointer.draw(&[from, to]);
        let inside = |[left, top, right, bottom]: &Area, &(x, y): &(f64, f64)| {
            x > left - 2.0 && x < right + 2.0 && y > *top && y < *bottom
        };
        self.taken.iter().any(|area| pointer.drawn.iter().any(|point| inside(area, point)))
    }

    /// Whether a label would stand inside, and over no other.
    pub(super) fn is_free(&self, at: (f64, f64), text: &str) -> bool {
        self.covers(area(at, text)).is_some()
    }

    /// The nearest free place beside a tip that reaches `clear` around it: above it, or where `ways` say so, below. A label that
    /// `must` stand does so over as little as may be where nothing is free.
    pub(super) fn beside(
        &mut self,
        tip: (f64, f64),
        clear: f64,
        text: &str,
        ways: &[Way],
        must: bool,
    ) -> Option<Label> {
        let width = across(text);
        // In the middle, then to the right and to the left of the tip, then clear of it.
        let aside = clear + 40.0;
        let lefts =
            [tip.0 - 0.5 * width, tip.0 - 4.0, tip.0 + 4.0 - width, tip.0 + aside, tip.0 - aside - width];
        let places = |lefts: &[f64]| {
            let lefts = lefts.to_vec();
            (0..STEPS).flat_map(move |step| {
                let gap = clear + 2.0 + STEP * step as f64;
                let lefts = lefts.clone();
                ways.iter().flat_map(move |&way| {
                    let baseline = match way {
                        Way::Up => tip.1 - gap - DESCENT,
                        Way::Down => tip.1 + gap + ASCENT,
                    };
                    lefts.iter().map(|left| (gap, way, (*left, baseline))).collect::<Vec<_>>()
                })
            })
        };
        // A name stays over its point if it can.
        let (near, far) = lefts.split_at(if must { lefts.len() } else { 3 });
        let covered = places(near).chain(places(far)).filter_map(|(gap, way, at)| {
            let [left, top, right, bottom] = area(at, text);
            let on_tip = gap - clear <= POINTED && left <= tip.0 && tip.0 <= right;
            let from = (tip.0.clamp(left + 3.0, right - 3.0), if way == Way::Up { bottom } else { top });
            let pointer = (!on_tip).then_some(from);
            let crossed = if pointer.is_some_and(|from| self.crosses(from, tip)) { CROSSED } else { 0 };
            Some((Label { at, pointer }, self.covers(area(at, text))? + crossed))
        });
        // The first of the least.
        let (label, under) = covered.min_by_key(|(_, under)| *under)?;
        if under > 0 && !must {
            return None;
        }
        self.taken.push(area(label.at, text));
        if let Some(from) = label.pointer {
            self.draw(&[from, tip]);
        }
        Some(label)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn room() -> Room {
        Room::between([0.0, 0.0, 600.0, 300.0])
    }

    #[test]
    fn a_label_stands_on_its_tip_and_moves_up_with_a_pointer_where_a_curve_is() {
        let mut free = room();
        let label = free.beside((300.0, 200.0), 1.0, "50 Hz", &[Way::Up], false).unwrap();
        assert!(label.pointer.is_none() && label.at.1 > 190.0, "{:?}", label.at);
        let mut crossed = room();
        crossed.draw(&[(0.0, 190.0), (600.0, 190.0)]);
        let label = crossed.beside((300.0, 200.0), 1.0, "50 Hz", &[Way::Up], false).unwrap();
        let (x, y) = label.pointer.unwrap();
        assert!(y < 190.0 && (x - 300.0).abs() < 0.1, "{x} {y}");
    }

    #[test]
    fn where_nothing_is_free_a_name_is_left_out_and_a_label_that_must_stand_stands() {
        let mut full = room();
        for row in 0..100 {
            full.draw(&[(0.0, 3.0 * f64::from(row)), (600.0, 3.0 * f64::from(row))]);
        }
        assert!(full.beside((300.0, 200.0), 1.0, "50 Hz", &[Way::Up], false).is_none());
        assert!(full.beside((300.0, 200.0), 1.0, "50 Hz", &Way::BOTH, true).is_some());
        // No pointer runs through another label.
        let mut crossed = room();
        crossed.take((300.0, 190.0), Anchor::Middle, "a label");
        let label = crossed.beside((300.0, 200.0), 1.0, "50 Hz", &[Way::Up], false).unwrap();
        assert!((label.at.0 - 300.0).abs() > 0.5 * across("a label"), "{:?}", label.at);
        // Two of them never stand over each other.
        let mut twice = room();
        let first = twice.beside((300.0, 200.0), 1.0, "50 Hz", &Way::BOTH, true).unwrap().at;
        let second = twice.beside((302.0, 200.0), 1.0, "100 Hz", &Way::BOTH, true).unwrap().at;
        let apart = (first.1 - second.1).abs() >= ASCENT || (first.0 - second.0).abs() >= across("50 Hz");
        assert!(apart, "{first:?} {second:?}");
    }
}
