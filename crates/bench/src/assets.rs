//! Style sheet and modules, in the program itself, under addresses that change with their content.

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::sync::LazyLock;

const FILES: [(&str, &str, &[u8]); 6] = [
    ("bench.css", "text/css; charset=utf-8", include_bytes!("../static/bench.css")),
    ("keep.js", "text/javascript; charset=utf-8", include_bytes!("../static/keep.js")),
    ("clock.js", "text/javascript; charset=utf-8", include_bytes!("../static/clock.js")),
    ("lists.js", "text/javascript; charset=utf-8", include_bytes!("../static/lists.js")),
    ("live.js", "text/javascript; charset=utf-8", include_bytes!("../static/live.js")),
    ("mark.svg", "image/svg+xml", include_bytes!("../static/mark.svg")),
];

static TAG: LazyLock<String> = LazyLock::new(|| {
    let mut hash = blake3::Hasher::new();
    for (_, _, bytes) in FILES {
        hash.update(bytes);
    }
    hash.finalize().to_hex().chars().take(12).collect()
});

/// The address of a file.
#[must_use]
pub fn url(name: &str) -> String {
    format!("/static/{}/{name}", *TAG)
}

/// Serves a file. An address with another tag gives today's content and is not kept.
pub async fn serve(Path((tag, name)): Path<(String, String)>) -> Response {
    match FILES.iter().find(|(n, ..)| *n == name) {
        Some((_, kind, bytes)) => {
            let keep = if tag == *TAG { "public, max-age=31536000, immutable" } else { "no-store" };
            ([(header::CONTENT_TYPE, *kind), (header::CACHE_CONTROL, keep)], *bytes).into_response()
        }
        None => StatusCode::NOT_FOUND.into_response(),
    }
}
