//! `evengap map`: the report, heights at points, pictures and errors that point at the card.

mod common;

use common::{CARD, Folder};

#[test]
fn the_report_lays_the_readings_out_as_the_bed_lies() {
    let run = Folder::new().run(&["map", "bed.toml"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    let lines: Vec<Vec<&str>> = run.out.lines().map(|l| l.split_whitespace().collect()).collect();
    let at = lines.iter().position(|l| l == &["back"]).unwrap();
    assert_eq!(lines[at + 1], ["Y", "205", "+0.050", "+0.130", "+0.020"]);
    assert_eq!(lines[at + 2], ["Y", "117", "+0.140", "+0.250", "+0.120"]);
    assert_eq!(lines[at + 3], ["Y", "30", "+0.060", "+0.080", "+0.050"]);
    assert_eq!(lines[at + 4], ["front"]);
    assert_eq!(lines[at + 5], ["X", "30", "117", "205"]);
    for words in [
        "Lowest   +0.020 mm at X 205 Y 205 (line 14)",
        "Highest  +0.250 mm at X 117 Y 117 (line 13)",
        "Range     0.230 mm",
        "Tilt of the best plane",
        "twist",
        "bow along x",
        "bow along y",
        "leave-one-out",
        "Known to +-0.0",
        " mm (95 %) over the bed, worst ",
        "Caution: ",
    ] {
        assert!(run.out.contains(words), "{words}: {}", run.out);
    }
}

#[test]
fn a_mistyped_reading_is_pointed_at_by_its_line() {
    let folder = Folder::new();
    // 5 by 5 readings of a level bed, one of them off by 0.9 mm.
    let mut card =
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\npoints = [\n".to_owned();
    for j in 0..5 {
        for i in 0..5 {
            let value = if (i, j) == (3, 2) { 1.01 } else { 0.11 + 0.01 * f64::from((i * 7 + j * 3) % 4) };
            card.push_str(&format!("  [{}, {}, {value:.2}],\n", 20 + 40 * i, 20 + 40 * j));
        }
    }
    card.push_str("]\n");
    folder.put("bed.toml", &card);
    let run = folder.run(&["map", "bed.toml"]);
    assert_eq!(run.status, 0);
    assert!(run.out.contains("bed.toml:21:3: X 140 Y 100 reads 1.01"), "{}", run.out);
    assert!(run.out.contains("+0.910!"), "{}", run.out);
    let json: serde_json::Value = serde_json::from_str(&folder.run(&["map", "bed.toml", "--json"]).out).unwrap();
    assert_eq!(json["outliers"][0]["line"], 21);
    assert_eq!(json["outliers"].as_array().unwrap().len(), 1);
    // What it should have read is told, with how surely.
    assert!(run.out.contains(" reads 1.01, the others lead one to expect 0.1"), "{}", run.out);

    // With less weight it no longer bends the map; nothing else on the card has changed.
    let run = folder.run(&["map", "bed.toml", "--robust", "new.toml"]);
    assert_eq!(run.status, 0);
    assert!(run.messages.contains("  X 140 Y 100 reads 1.01: spread "), "{}", run.messages);
    let [old, new] = ["bed.toml", "new.toml"].map(|name| evengap::Card::parse(&folder.get(name)).unwrap());
    assert!(new.readings.points[13].spread.unwrap() > 0.2);
    let rest = |card: &evengap::Card| {
        let mut points = card.readings.points.clone();
        points.iter_mut().for_each(|p| (p.line, p.column, p.spread) = (None, None, None));
        (card.bed.clone(), points)
    };
    assert_eq!(rest(&old), rest(&new));
    let piped = folder.run(&["map", "bed.toml", "--robust", "-"]);
    assert_eq!((piped.status, piped.out), (0, folder.get("new.toml")));
    // Never in the card's own place.
    let run = folder.run(&["map", "bed.toml", "--robust", "bed.toml"]);
    assert_eq!(run.status, 1);
}

#[test]
fn a_reading_that_is_a_little_off_is_worth_reading_again() {
    let folder = Folder::new();
    let mut card =
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\nspread = 0.02\npoints = [\n"
            .to_owned();
    for j in 0..5 {
        for i in 0..5 {
            let off = if (i, j) == (2, 2) { 0.07 } else { 0.0 };
            let value = 0.11 + off + 0.01 * f64::from((i * 7 + j * 3) % 4);
            card.push_str(&format!("  [{}, {}, {value:.2}],\n", 20 + 40 * i, 20 + 40 * j));
        }
    }
    folder.put("bed.toml", &(card + "]\n"));
    let run = folder.run(&["map", "bed.toml"]);
    assert!(run.out.contains("Worth reading again"), "{}", run.out);
    assert!(run.out.contains("bed.toml:21:3: X 100 Y 100 reads "), "{}", run.out);
    assert!(!run.out.contains("stand out from their neighbours"), "{}", run.out);
}

#[test]
fn how_well_the_bed_is_known_can_be_drawn() {
    let folder = Folder::new();
    let run = folder.run(&["map", "bed.toml", "--known", "known.svg", "--picture", "bed.svg"]);
    assert_eq!((run.status, run.messages.as_str()), (0, "Drew bed.svg.\nDrew known.svg.\n"));
    let text = folder.get("known.svg");
    let svg = roxmltree::Document::parse(&text).unwrap();
    let texts: Vec<&str> = svg.descendants().filter(|n| n.is_text()).filter_map(|n| n.text()).collect();
    for words in ["How well the bed is known", "Known", "Worst", "well known"] {
        assert!(texts.contains(&words), "{words}: {texts:?}");
    }
    let run = folder.run(&["map", "bed.toml", "--known", "bed.svg", "--picture", "bed.svg"]);
    assert_eq!(run.status, 1);
}

#[test]
fn json_holds_what_the_report_says() {
    let run = Folder::new().run(&["map", "bed.toml", "--json", "--surface", "bilinear"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    let json: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(json["surface"], "bilinear");
    assert!((json["highest"]["height"].as_f64().unwrap() - 0.25).abs() < 1e-12);
    assert_eq!(json["readings"].as_array().unwrap().len(), 9);
    assert_eq!(json["card"].as_str().unwrap().len(), 12);
    assert!(json["caution"].as_str().unwrap().contains("Caution"));
}

#[test]
fn heights_at_points_come_in_order_and_read_back_to_the_bit() {
    let folder = Folder::new();
    folder.put("points.csv", "x,y\n117,117\n30,205\n-50,999\n100.25,60.5\n");
    let run = folder.run(&["map", "bed.toml", "--at", "points.csv", "--surface", "bilinear"]);
    assert_eq!((run.status, run.messages.as_str()), (0, ""));
    let lines: Vec<&str> = run.out.lines().collect();
    assert_eq!(lines[0], "x,y,height,standard_error");
    assert_eq!(lines.len(), 5);
    let card = evengap::Card::parse(CARD).unwrap();
    let map = evengap::HeightMap::fit(&card, evengap::SurfaceKind::Bilinear).unwrap();
    let known = evengap::known::Known::of(&map).unwrap();
    for (line, [x, y]) in lines[1..].iter().zip([[117.0, 117.0], [30.0, 205.0], [-50.0, 999.0], [100.25, 60.5]]) {
        let fields: Vec<f64> = line.split(',').map(|f| f.parse().unwrap()).collect();
        let told = [x, y, map.height(x, y), known.at(x, y).standard_error];
        assert_eq!(fields.iter().map(|f| f.to_bits()).collect::<Vec<_>>(), told.map(f64::to_bits));
        let digits = line.rsplit(',').next().unwrap().bytes().filter(u8::is_ascii_digit).count();
        assert!(digits >= 17, "{line}");
    }
}

#[test]
fn card_and_points_may_come_from_standard_input() {
    let folder = Folder::new();
    let from_file = folder.run(&["map", "bed.toml", "--json"]);
    let piped = folder.run_with(&["map", "-", "--json"], CARD, &[]);
    assert_eq!((piped.status, &piped.out), (0, &from_file.out));
    let points = folder.run_with(&["map", "bed.toml", "--at", "-"], "117,117\n", &[]);
    assert_eq!(points.out.lines().count(), 2);
    let by_name = folder.run_with(&["map", "--json"], "", &[("EVENGAP_CARD", "bed.toml")]);
    assert_eq!(by_name.out, from_file.out);
}

#[test]
fn wrong_points_are_shown_with_line_and_column() {
    let folder = Folder::new();
    folder.put("points.csv", "x,y\n1,2\n30, a7\n");
    let run = folder.run(&["map", "bed.toml", "--at", "points.csv"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("points.csv:3:5"), "{}", run.messages);
    assert!(run.messages.contains("30, a7"), "{}", run.messages);
}

#[test]
fn a_broken_card_is_shown_with_its_line_and_column() {
    let folder = Folder::new();
    folder.put("bed.toml", &CARD.replace("sheet =", "shet ="));
    let run = folder.run(&["map", "bed.toml"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("bed.toml:8:1"), "{}", run.messages);
    assert!(run.messages.contains("8 | shet = 0.10"), "{}", run.messages);
    assert!(run.messages.contains("help: did you mean `sheet`?"), "{}", run.messages);

    let run = folder.run(&["map", "bed.toml", "--json"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    let json: serde_json::Value = serde_json::from_str(&run.messages).unwrap();
    assert_eq!(json["error"]["kind"], "card");
    assert_eq!(json["error"]["file"], "bed.toml");
    assert_eq!(json["error"]["places"][0], serde_json::json!({ "line": 8, "column": 1 }));
}

#[test]
fn a_missing_file_and_bytes_that_are_no_text_are_refused() {
    let folder = Folder::new();
    let run = folder.run(&["map", "nowhere.toml"]);
    assert_eq!(run.status, 1);
    assert_eq!(run.messages, "error: cannot read nowhere.toml: no such file or folder\n");
    std::fs::write(folder.path("bed.toml"), b"[bed]\nx = \xff").unwrap();
    let run = folder.run(&["map", "bed.toml"]);
    assert_eq!((run.status, run.messages.as_str()), (1, "error: bed.toml:2: the text is not UTF-8\n"));
}

#[test]
fn the_picture_is_svg_that_an_xml_reader_takes() {
    let folder = Folder::new();
    folder.put("bed.toml", &CARD.replace("front left", "<front> & 'left'"));
    let run = folder.run(&["map", "bed.toml", "--picture", "bed.svg"]);
    assert_eq!((run.status, run.messages.as_str()), (0, "Drew bed.svg.\n"));
    assert!(run.out.contains("Highest"));
    let text = folder.get("bed.svg");
    let svg = roxmltree::Document::parse(&text).unwrap();
    let texts: Vec<&str> =
        svg.descendants().filter(|n| n.has_tag_name("text") || n.is_text()).filter_map(|n| n.text()).collect();
    for words in ["<front> & 'left'", "+0.25", "FRONT", "back", "keep out: clip or clamp"] {
        assert!(texts.contains(&words), "{words}");
    }
    let root = svg.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    let named: Vec<&str> = root.attribute("aria-labelledby").unwrap().split(' ').collect();
    let ids: Vec<&str> = svg.descendants().filter_map(|n| n.attribute("id")).collect();
    assert!(named.iter().all(|n| ids.contains(n)));
    // Nothing is fetched: the only address is the name space.
    assert_eq!(text.matches("http").count(), 1);
    assert_eq!(folder.names(), ["bed.svg", "bed.toml", "part.gcode"]);
}

#[cfg(feature = "png")]
#[test]
fn the_picture_is_a_png_with_letters_in_it() {
    let folder = Folder::new();
    let run = folder.run(&["map", "bed.toml", "--picture", "bed.PNG"]);
    assert_eq!((run.status, run.messages.as_str()), (0, "Drew bed.PNG.\n"));
    let png = std::fs::read(folder.path("bed.PNG")).unwrap();
    // PNG (ISO/IEC 15948), 5.2 and 11.2.2: the signature, then IHDR with the width.
    assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n");
    assert_eq!(u32::from_be_bytes(png[16..20].try_into().unwrap()), 1500);
    assert_eq!(&png[png.len() - 8..png.len() - 4], b"IEND");
    // Other letters in a screw's name are other pixels: the font is there.
    folder.put("bed.toml", &CARD.replace("front left", "front lost"));
    folder.run(&["map", "bed.toml", "--picture", "other.png"]);
    folder.put("bed.toml", CARD);
    folder.run(&["map", "bed.toml", "--picture", "again.png"]);
    assert_eq!(std::fs::read(folder.path("again.png")).unwrap(), png);
    assert_ne!(std::fs::read(folder.path("other.png")).unwrap(), png);
    // What the fonts lack is said.
    folder.put("bed.toml", &CARD.replace("front left", "\u{624b}\u{524d}"));
    assert!(folder.run(&["map", "bed.toml", "--picture", "bed.png"]).messages.contains("cannot show every letter"));
}

#[test]
fn a_picture_that_cannot_be_written_is_a_failure_and_nothing_is_printed() {
    let run = Folder::new().run(&["map", "bed.toml", "--picture", "nowhere/bed.svg"]);
    assert_eq!((run.status, run.out.as_str()), (1, ""));
    assert!(run.messages.contains("cannot write nowhere/bed.svg"), "{}", run.messages);
}

#[test]
fn the_surface_can_be_chosen_by_what_it_predicts() {
    let folder = Folder::new();
    let run = folder.run(&["map", "bed.toml", "--surface", "auto"]);
    assert!(
        run.out.contains("\nSurface thin-plate: rows and columns left out of the readings are predicted to 0."),
        "{}",
        run.out
    );
    // A bed with a crease between two readings, flat on either side: a plate that bends evenly swings beside it.
    let mut card =
        "[bed]\nx = [0, 200]\ny = [0, 200]\n[readings]\nmethod = 'drag'\nsheet = 0.1\nspread = 0.005\npoints = [\n"
            .to_owned();
    for n in 0..25 {
        let (x, y) = (20 + 40 * (n % 5), 20 + 40 * (n / 5));
        let height = if x > 80 { 0.3 } else { 0.0 };
        card.push_str(&format!("  [{x}, {y}, {:.2}],\n", 0.1 + height));
    }
    folder.put("crease.toml", &(card + "]\n"));
    let run = folder.run(&["map", "crease.toml", "--surface", "auto", "--json"]);
    let told: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    let chosen = &told["chosen"];
    let mm = |key: &str| chosen[key].as_f64().unwrap();
    assert_eq!((told["surface"].as_str(), chosen["what"].as_str()), (Some("bilinear"), Some("predicts")), "{chosen}");
    assert!(mm("bilinear") < mm("thin_plate") && chosen["places"] == 30, "{chosen}");
    // Every other command says it beside its report, and a scatter has no choice.
    let run = folder.run(&["rewrite", "part.gcode", "--card", "crease.toml", "--surface", "auto", "-o", "even.gcode"]);
    assert!(run.messages.starts_with("Surface: bilinear: "), "{}", run.messages);
    assert!(folder.get("even.gcode").contains("bilinear"), "the marker tells which it was");
    let scatter = common::CARD.replace("[ 30,  30, 0.16]", "[ 31,  33, 0.16]");
    folder.put("scatter.toml", &scatter);
    let run = folder.run(&["tram", "scatter.toml", "--surface", "auto"]);
    assert!(run.messages.contains("Surface: thin-plate: the readings are no full grid"), "{}", run.messages);
    let run = folder.run(&["compare", "crease.toml", "crease.toml", "--surface", "auto", "--json"]);
    assert!(run.out.contains("\"surface\": \"bilinear\""), "{}", run.out);
}
