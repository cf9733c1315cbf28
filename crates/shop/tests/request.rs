//! Wishes word for word: what must be refused, what must not.

use shop::request::{Verdict, read};

fn lines(text: &str) -> impl Iterator<Item = &str> {
    text.lines().filter(|l| !l.trim().is_empty())
}

fn misread(text: &str, unlawful: bool) -> Vec<String> {
    lines(text)
        .map(read)
        .filter(|r| (r.verdict == Verdict::Unlawful) != unlawful)
        .map(|r| format!("{} {:?}", r.asked, r.because))
        .collect()
}

#[test]
fn regress_wishes_to_defeat_a_filter_are_seen_in_two_languages_and_with_slips() {
    assert_eq!(misread(include_str!("requests/unlawful.txt"), true), Vec::<String>::new());
}

#[test]
fn regress_wishes_that_only_sound_like_it_are_not_refused() {
    assert_eq!(misread(include_str!("requests/lawful.txt"), false), Vec::<String>::new());
}

/// Written before the reading was first run. At its first run it read 21 of 24 and 23 of 24 of these rightly, which
/// tells how well it does on words it was not made with; the four were mended since.
#[test]
fn regress_wishes_written_beforehand() {
    assert_eq!(misread(include_str!("requests/lawful-later.txt"), false), Vec::<String>::new());
    assert_eq!(misread(include_str!("requests/unlawful-later.txt"), true), Vec::<String>::new());
}

#[test]
fn regress_what_is_lawful_after_the_work_is_said_so() {
    for wish in ["clear the code", "reset the additive counter", "Aschezähler nullen"] {
        assert_eq!(read(wish).verdict, Verdict::AfterTheWork, "{wish}");
    }
    assert_eq!(read("").verdict, Verdict::Lawful);
}

#[test]
fn regress_the_words_that_decided_are_given_back() {
    let r = read("please BYPASS the D.P.F.!");
    assert_eq!((r.verdict, r.because), (Verdict::Unlawful, vec!["bypass".to_owned(), "dpf".to_owned()]));
}

#[test]
fn property_capitals_signs_and_spaces_do_not_matter() {
    for line in lines(include_str!("requests/unlawful.txt")).chain(lines(include_str!("requests/lawful.txt")))
    {
        let loud: String = line.replace(' ', "  \t").to_uppercase() + " !!!";
        // Capitals of ß are SS, which is read alike.
        assert_eq!(read(&loud).verdict, read(line).verdict, "{line}");
        let slipped = line.replace('-', "\u{2013}");
        assert_eq!(read(&slipped).verdict, read(line).verdict, "{line}");
    }
}
