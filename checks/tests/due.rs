//! Windows of what comes on cars whose habits change, in a reduced form (`cargo run -p checks --example due` is the
//! whole one).

use checks::due::{back_test, share};

#[test]
fn property_windows_hold_about_eight_times_in_ten() {
    let list = back_test(11, 40);
    let (held, n) = share(&list, |h| Some(h.km));
    assert!(n >= 90, "{n} windows");
    // 75 to 90 % asked for, and what a hundred windows scatter (two standard deviations).
    assert!((0.67..=0.97).contains(&held), "{held:.2} of {n} windows hold");
}
