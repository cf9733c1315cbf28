//! Back-tests the windows of what comes on cars whose habits change: `due SEED CARS`.

use checks::due::{Held, back_test, share};
use infer::due::{Says, What};

fn main() {
    let mut numbers = std::env::args().skip(1).filter_map(|a| a.parse::<u64>().ok());
    let (seed, cars) = (numbers.next().unwrap_or(1), numbers.next().unwrap_or(200));
    let list = back_test(seed, cars as usize);
    for what in [What::Additive, What::Ash, What::Soot] {
        let part: Vec<Held> = list.iter().copied().filter(|h| h.what == what).collect();
        let (km, n) = share(&part, |h| Some(h.km));
        let (days, dated) = share(&part, |h| h.days);
        let said = |s: Says| part.iter().filter(|h| h.says == s).count();
        let early = part.iter().filter(|h| h.side < 0).count();
        let mut width: Vec<f64> = part.iter().map(|h| h.width).collect();
        width.sort_by(f64::total_cmp);
        println!(
            "{:<9} km {:.0} % of {n} (early {early}), days {:.0} % of {dated}; far over near end {:.1}; windows {}, not before {}, withheld {}",
            what.name(),
            100.0 * km,
            100.0 * days,
            width.get(width.len() / 2).copied().unwrap_or(f64::NAN),
            said(Says::Window),
            said(Says::NotBefore),
            said(Says::Nothing)
        );
    }
    let (km, n) = share(&list, |h| Some(h.km));
    println!("all       km {:.0} % of {n}", 100.0 * km);
}
