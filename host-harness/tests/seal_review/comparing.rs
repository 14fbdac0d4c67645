//! An image held against a setup.

use host_harness::seal::{Comparison, Review, seal, sheet};
use host_harness::setup::Setup;

use super::{FULL, full, parsed, sealed};

fn against(bytes: &[u8], setup: &Setup) -> (Review, Comparison) {
    let review = Review::against(bytes, setup).unwrap_or_else(|error| panic!("{error}"));
    let comparison = review.setup.clone().expect("a comparison");
    (review, comparison)
}

#[test]
fn the_image_of_a_setup_is_told_to_be_the_same_for_every_history_and_with_or_without_names() {
    for points in [3, 33, 129, 1025] {
        for names in [true, false] {
            let image = seal(&full(), points, names).expect("sealed");
            let (review, comparison) = against(&image, &full());
            assert!(comparison.same && comparison.differences.is_empty() && review.is_consistent());
            assert!(sheet(&review).contains("THE SAME: sealing \"axis.toml\" again gives this image"));
        }
    }
}

#[test]
fn an_image_without_names_is_shown_with_those_of_the_setup_that_it_is_the_image_of() {
    let bare = seal(&full(), 129, false).expect("sealed");
    let (review, _) = against(&bare, &full());
    let named = Review::of(&sealed(&full())).expect("an image");
    assert_eq!((&review.sections, &review.host), (&named.sections, &named.host));
    assert!(sheet(&review).contains("they are those of the setup it was held against"));
}

#[test]
fn what_is_kept_on_the_host_is_that_of_the_setup_where_the_image_does_not_say_and_told_to_be() {
    let bare = seal(&full(), 129, false).expect("sealed");
    let late = parsed(&FULL.replace("0.25 ms", "0.5 ms"));
    for (setup, latency, told) in [
        (full(), "0.25 ms (250000 ns)", "These are those of the setup it was held against;"),
        (late, "0.5 ms (500000 ns)", "WHICH IS NOT THAT OF THE IMAGE"),
    ] {
        let sheet = sheet(&against(&bare, &setup).0);
        let (_, kept) = sheet.split_once("Kept on the host").expect("a section");
        assert!(kept.contains(&format!("  [ ] {:<26}{latency}\n", "channel.b.latency")), "{kept}");
        assert!(kept.replace('\n', " ").contains(told), "{kept}");
    }
    let alone = sheet(&Review::of(&bare).expect("an image"));
    assert!(alone.contains("Which they are is not in the image"), "{alone}");
}

/// Path, what the image says, what the setup says; the checksum aside, which always differs.
fn differences(bytes: &[u8], setup: &Setup) -> Vec<(String, String, String)> {
    let (review, comparison) = against(bytes, setup);
    assert!(!comparison.same && !review.is_consistent());
    let sheet = sheet(&review);
    assert!(sheet.contains("NOT THE SAME"), "{sheet}");
    let side = |side: Option<String>| side.unwrap_or_else(|| "-".to_owned());
    let all = comparison.differences.into_iter();
    let all = all.map(|difference| (difference.path, side(difference.image), side(difference.setup)));
    all.inspect(|(path, ..)| assert!(sheet.contains(path), "{path}")).collect()
}

#[test]
fn a_value_that_differs_is_listed_with_both_sides() {
    let slower = parsed(&FULL.replace("250.1 mm/s", "200 mm/s"));
    let found = differences(&sealed(&full()), &slower);
    let paths: Vec<_> = found.iter().map(|(path, ..)| path.as_str()).collect();
    assert_eq!(paths, ["setup checksum", "monitor.2.limit", "monitor.2.limit (as written)"]);
    let (_, image, setup) = &found[1];
    assert_eq!(image, "250.099999964237213134765625 mm/s (0x00000000fa199999)");
    assert_eq!(setup, "200 mm/s (0x00000000c8000000)");
}

#[test]
fn a_setting_that_only_the_host_has_is_listed_when_it_differs() {
    let late = parsed(&FULL.replace("0.25 ms", "0.5 ms"));
    let found = differences(&sealed(&full()), &late);
    let paths: Vec<_> = found.iter().map(|(path, ..)| path.as_str()).collect();
    assert_eq!(paths, ["setup checksum", "host: channel.b.latency"]);
    // Without names it shows in the checksum alone.
    let bare = seal(&full(), 129, false).expect("sealed");
    let found = differences(&bare, &late);
    assert_eq!(found.iter().map(|(path, ..)| path.as_str()).collect::<Vec<_>>(), ["setup checksum"]);
}

#[test]
fn a_setting_that_is_only_written_in_another_way_is_listed_as_that() {
    let other = parsed(&FULL.replace("\"1 s\"", "\"1000 ms\""));
    let found = differences(&sealed(&full()), &other);
    assert_eq!(
        found,
        [("monitor.3.within (as written)".to_owned(), "\"1 s\"".to_owned(), "\"1000 ms\"".to_owned())]
    );
}

#[test]
fn what_one_side_does_not_have_is_listed_as_missing_there() {
    let (without, _) = FULL.split_once("[[monitor]]\nname   = \"stop in time\"").expect("the last monitor");
    let found = differences(&sealed(&full()), &parsed(without));
    assert!(
        found.iter().any(|(path, image, setup)| path == "monitor.4"
            && image.contains("stop in time")
            && setup == "-")
    );
    let found = differences(&sealed(&parsed(without)), &full());
    assert!(
        found.iter().any(|(path, image, setup)| path == "monitor.4.within"
            && image == "-"
            && setup.contains("1500 ms"))
    );
}

#[test]
fn a_setup_that_cannot_be_sealed_for_the_history_of_the_image_differs_and_says_why() {
    let image = seal(&full(), 3, true).expect("sealed");
    let long = FULL.replace("window  = \"8 ms\"", "window  = \"1.5 s\"").replace("\"5 ms\"", "\"2 s\"");
    let found = differences(&image, &parsed(&long));
    let [(path, ours, theirs)] = &found[..] else { panic!("{found:?}") };
    assert_eq!((path.as_str(), ours.as_str()), ("image", "-"));
    assert!(theirs.contains("make 5000000000 ns") && theirs.contains("choose more points"), "{theirs}");
}
