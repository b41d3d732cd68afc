//! A card's text, changed in place: what is not touched stays as it is, comments and all.

use crate::report::Failure;
use evengap::Card;
use evengap::card::{Point, Reading, Unread};
use evengap::plan::points_text;
use toml_edit::{Array, DocumentMut, Item, Value};

/// A byte order mark, which some editors put first.
const MARK: &str = "\u{feff}";

/// A card as text and as what it says.
pub(super) struct Draft {
    text: String,
    name: String,
    card: Card,
    changed: bool,
}

impl Draft {
    /// Reads a card, which may have no points yet.
    pub(super) fn read(text: String, name: String) -> Result<Draft, Failure> {
        let card = Card::parse_without_points(&text).map_err(|e| Failure::card(&e, name.clone(), &text))?;
        Ok(Draft { text, name, card, changed: false })
    }

    pub(super) fn text(&self) -> &str {
        &self.text
    }

    pub(super) fn card(&self) -> &Card {
        &self.card
    }

    /// Whether anything was set.
    pub(super) fn is_changed(&self) -> bool {
        self.changed
    }

    pub(super) fn name(&self) -> &str {
        &self.name
    }

    fn is_json(&self) -> bool {
        self.text.trim_start_matches(MARK).trim_start().starts_with('{')
    }

    /// Replaces the card's points by those of `card`; all else stays.
    pub(super) fn set_points(&mut self, card: &Card) -> Result<(), Failure> {
        if self.is_json() {
            return self.take_json(card);
        }
        let mut document = self.document()?;
        let lines = points_text(card);
        let new: DocumentMut = lines.parse().map_err(|e| self.spoilt(&e))?;
        let Some((key, item)) = new.as_table().get_key_value("points") else { return Err(self.lost()) };
        let (key, item) = (key.clone(), item.clone());
        let readings = document.get_mut("readings").ok_or_else(|| self.lost())?;
        match readings {
            Item::Table(table) if table.contains_key("points") => {
                // The key's own comment stays, and so does what stands behind the list.
                if let (Some(Item::Value(old)), Item::Value(mut value)) = (table.get_mut("points"), item) {
                    *value.decor_mut() = old.decor().clone();
                    *old = value;
                }
            }
            Item::Table(table) => {
                table.insert_formatted(&key, item);
            }
            // A table within braces holds no comments.
            other => other["points"] = Item::Value(Value::Array(bare(card))),
        }
        self.take(self.as_before(&document))
    }

    /// Lists more points to read behind the card's own; all else stays.
    pub(super) fn add_points(&mut self, places: &[[f64; 2]]) -> Result<(), Failure> {
        let mut points: Vec<Point> = self.card.readings.all_points().collect();
        let was_empty = points.is_empty();
        points.extend(places.iter().map(|&[x, y]| Point::Unread(Unread::new(x, y))));
        let card = with_points(&self.card, &points);
        if was_empty || self.is_json() {
            return self.set_points(&card);
        }
        let mut document = self.document()?;
        let list = document.get_mut("readings").and_then(|r| r.get_mut("points")).and_then(Item::as_array_mut);
        let list = list.ok_or_else(|| self.lost())?;
        // What stands behind the last point stays behind it: its comma, where there is none, and its comment.
        let behind = list.trailing().as_str().unwrap_or_default().trim_end().to_owned();
        let by_lines =
            list.iter().any(|p| p.decor().prefix().and_then(|p| p.as_str()).is_some_and(|p| p.contains('\n')));
        for (place, behind) in places.iter().zip(core::iter::once(behind.as_str()).chain(core::iter::repeat(""))) {
            let mut point = Value::Array(place.iter().map(|v| as_typed(*v)).collect::<Array>());
            let before = if by_lines || !behind.is_empty() { format!("{behind}\n  ") } else { " ".to_owned() };
            point.decor_mut().set_prefix(before);
            list.push_formatted(point);
        }
        if by_lines || !behind.is_empty() {
            list.set_trailing("\n");
            list.set_trailing_comma(true);
        }
        self.take(self.as_before(&document))
    }

    /// Writes the value of a point, by its number in the card's list (from 1); a spread of its own stays.
    pub(super) fn set_value(&mut self, number: usize, value: f64) -> Result<(), Failure> {
        self.set_values(&[(number, value)])
    }

    /// Writes several values, each with its point's number, or none of them.
    pub(super) fn set_values(&mut self, values: &[(usize, f64)]) -> Result<(), Failure> {
        if self.is_json() {
            let card = with_values(&self.card, values);
            return self.take_json(&card);
        }
        let mut document = self.document()?;
        let list = document.get_mut("readings").and_then(|r| r.get_mut("points")).and_then(Item::as_array_mut);
        let list = list.ok_or_else(|| self.lost())?;
        for (number, value) in values {
            let point = number.checked_sub(1).and_then(|index| list.get_mut(index)).and_then(Value::as_array_mut);
            let point = point.ok_or_else(|| self.lost())?;
            match point.get_mut(2) {
                Some(old) => {
                    let decor = old.decor().clone();
                    *old = Value::from(*value);
                    *old.decor_mut() = decor;
                }
                None => {
                    point.set_trailing_comma(false);
                    point.set_trailing("");
                    point.push(*value);
                }
            }
        }
        self.take(self.as_before(&document))
    }

    fn document(&self) -> Result<DocumentMut, Failure> {
        self.text.trim_start_matches(MARK).parse().map_err(|e| self.spoilt(&e))
    }

    /// The document with the byte order mark and the ends of lines that the text had: the editor of the tree knows neither.
    fn as_before(&self, document: &DocumentMut) -> String {
        let mark = if self.text.starts_with(MARK) { MARK } else { "" };
        let new = document.to_string();
        let (ends, returns) = (self.text.matches('\n').count(), self.text.matches("\r\n").count());
        let new = if ends > 0 && ends == returns { new.replace("\r\n", "\n").replace('\n', "\r\n") } else { new };
        format!("{mark}{new}")
    }

    /// Takes the new text only if it is a card.
    fn take(&mut self, text: String) -> Result<(), Failure> {
        self.card = Card::parse_without_points(&text).map_err(|e| Failure::card(&e, self.name.clone(), &text))?;
        self.text = text;
        self.changed = true;
        Ok(())
    }

    fn take_json(&mut self, card: &Card) -> Result<(), Failure> {
        let mut text = serde_json::to_string_pretty(card)
            .map_err(|e| Failure::plain(format!("cannot write {} again: {e}", self.name)))?;
        text.push('\n');
        self.take(text)
    }

    fn spoilt(&self, error: &toml_edit::TomlError) -> Failure {
        Failure::plain(format!("{}: cannot be changed in place: {}", self.name, error.message()))
    }

    fn lost(&self) -> Failure {
        Failure::plain(format!("{}: its list of points cannot be changed in place", self.name))
    }
}

/// A number as one types it: whole ones without a point.
fn as_typed(number: f64) -> Value {
    format!("{}", number + 0.0).parse().unwrap_or_else(|_| Value::from(number))
}

/// The points as a list without lines or comments.
fn bare(card: &Card) -> Array {
    let mut list = Array::new();
    for point in card.readings.all_points() {
        let numbers = match point {
            Point::Read(r) => [Some(r.x), Some(r.y), Some(r.value), r.spread],
            Point::Unread(u) => [Some(u.x), Some(u.y), None, None],
        };
        list.push(numbers.into_iter().flatten().collect::<Array>());
    }
    list
}

/// The card with values for its points, by their numbers.
fn with_values(card: &Card, values: &[(usize, f64)]) -> Card {
    let mut points: Vec<Point> = card.readings.all_points().collect();
    for (number, value) in values {
        if let Some(point) = number.checked_sub(1).and_then(|index| points.get_mut(index)) {
            match point {
                Point::Read(reading) => reading.value = *value,
                Point::Unread(u) => *point = Point::Read(Reading::new(u.x, u.y, *value)),
            }
        }
    }
    with_points(card, &points)
}

/// The card with these points in this order.
pub(super) fn with_points(card: &Card, points: &[Point]) -> Card {
    let mut card = card.clone();
    card.readings.points.clear();
    card.readings.unread.clear();
    for (point, number) in points.iter().zip(1..) {
        match *point {
            Point::Read(r) => card.readings.points.push(r),
            Point::Unread(mut unread) => {
                unread.number = number;
                card.readings.unread.push(unread);
            }
        }
    }
    card
}

#[cfg(test)]
mod tests {
    use super::*;
    use evengap::plan::{Layout, Room, planned};

    const CARD: &str = "# my bed\n[bed]\nx = [0, 200]  # reach\ny = [0, 200]\n\n[readings]\nmethod = 'drag'  # paper\nsheet = 0.1\n# the list\npoints = [ # in order\n  [10, 10], # near\n  [190, 10, 0.20, 0.05],   # right\n  [ 10, 190 , ],\n]  # end\n\n[screws] # four\nthread = 'M4'\nraise = 'clockwise'\nat = { a = [0, 0], b = [9, 9] }\n";

    fn draft(text: &str) -> Draft {
        Draft::read(text.to_owned(), "card".to_owned()).unwrap()
    }

    #[test]
    fn a_value_is_set_and_nothing_else_changes() {
        let mut draft = draft(CARD);
        draft.set_value(1, 0.16).unwrap();
        draft.set_value(2, 0.25).unwrap();
        draft.set_value(3, -0.5).unwrap();
        let expected = CARD
            .replace("[10, 10]", "[10, 10, 0.16]")
            .replace("0.20, 0.05", "0.25, 0.05")
            .replace("[ 10, 190 , ]", "[ 10, 190 , -0.5]");
        assert_eq!(draft.text(), expected);
        assert!(draft.set_value(4, 0.1).is_err() && draft.set_value(0, 0.1).is_err());
        assert_eq!(draft.text(), expected);
    }

    #[test]
    fn ends_of_lines_and_a_byte_order_mark_stay() {
        let text = format!("{MARK}{}", CARD.replace('\n', "\r\n"));
        let mut draft = draft(&text);
        draft.set_value(1, 0.16).unwrap();
        assert_eq!(draft.text(), text.replace("[10, 10]", "[10, 10, 0.16]"));
    }

    #[test]
    fn new_points_keep_the_rest_of_the_card() {
        let mut draft = draft(CARD);
        let plan = planned(draft.card(), Layout::Grid { columns: 3, rows: 3 }, Room::default()).unwrap();
        draft.set_points(&plan.card).unwrap();
        assert_eq!(draft.card().readings.unread.len(), 9);
        for kept in
            ["# my bed\n", "# reach", "# paper", "# the list\n", "# end\n", "# four", "at = { a = [0, 0], b = [9, 9] }"]
        {
            assert!(draft.text().contains(kept), "{kept}: {}", draft.text());
        }
        assert!(!draft.text().contains("# near"));
    }

    #[test]
    fn more_points_come_behind_the_others_with_their_comments() {
        let mut draft = draft(CARD);
        draft.add_points(&[[20.0, 30.5], [40.0, 50.0]]).unwrap();
        assert_eq!(draft.text(), CARD.replace("[ 10, 190 , ],\n]", "[ 10, 190 , ],\n  [20, 30.5],\n  [40, 50],\n]"));
        draft.set_value(5, 0.125).unwrap();
        assert_eq!(draft.card().readings.unread.len(), 3);
        for (list, with_more) in [
            ("[[1, 2, 0.1], [3, 4]]", "[[1, 2, 0.1], [3, 4], [5, 6]]"),
            ("[\n  [1, 2], # a\n  [3, 4]  # b\n]", "[\n  [1, 2], # a\n  [3, 4]  # b\n,\n  [5, 6],\n]"),
            ("[\n  [1, 2], # a\n  [3, 4], # b\n  # c\n]", "[\n  [1, 2], # a\n  [3, 4], # b\n  # c\n  [5, 6],\n]"),
        ] {
            let text = CARD.replace(&CARD[CARD.find("[ # in order").unwrap()..=CARD.find("]  # end").unwrap()], list);
            let mut draft = self::draft(&text);
            draft.add_points(&[[5.0, 6.0]]).unwrap();
            assert_eq!(draft.text(), text.replace(list, with_more));
        }
    }

    #[test]
    fn a_card_without_points_gets_them_with_their_comment() {
        for text in [
            "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1 # thin\n[print]\nfilament = 1.75\n",
            "bed = { x = [0, 200], y = [0, 200] }\nreadings = { method = 'drag', sheet = 0.1 }\n",
            "bed.x = [0, 200]\nbed.y = [0, 200]\nreadings.method = 'drag'\nreadings.sheet = 0.1\n",
            r#"{ "bed": { "x": [0, 200], "y": [0, 200] }, "readings": { "method": "drag", "sheet": 0.1 } }"#,
        ] {
            let mut draft = draft(text);
            let plan = planned(draft.card(), Layout::Grid { columns: 2, rows: 2 }, Room::default()).unwrap();
            draft.set_points(&plan.card).unwrap();
            draft.set_value(2, 0.125).unwrap();
            assert_eq!(draft.card().readings.unread.len(), 3, "{}", draft.text());
            assert!((draft.card().readings.points[0].value - 0.125).abs() < 1e-12);
        }
    }
}
