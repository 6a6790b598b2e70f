//! A trend as one page that needs nothing but itself: a pair of charts a quantity.
//!
//! Decides: what stands where: the verdict first, then causes, then what drifts, then the rest.
//! Assumes: a browser of the last years; there is no script.
//! Never: asks the network for anything, nor says by colour alone what words do not say.

use super::html::{begin, escape, put};
use super::trend_chart;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::{UnitSystem, format, format_difference};
use crate::report::model::words::typeset;
use crate::report::trend::{
    allowed, chart, evidence, figures, joint, method, standing, unexplained, verdict,
};
use crate::report::trend_words::{count, doubts, known, sentence, start_sentence, title};
use crate::trend::{Series, Trend};

/// The page, as HTML.
pub fn page(trend: &Trend, procedure: Option<&ProcedureFile>, system: UnitSystem) -> String {
    let mut page = String::with_capacity(1 << 18);
    let (words, rest) = verdict(trend);
    let styles = [include_str!("style.css"), include_str!("trend.css")];
    begin(&mut page, &format!("Trend: {words}{rest}"), &styles, false);
    put!(page, "<a class=\"skip\" href=\"#main\">To the verdict</a>");
    header(&mut page, trend, procedure);
    put!(page, "<main id=\"main\">");
    head(&mut page, trend, system);
    causes(&mut page, trend);
    charts(&mut page, trend, system);
    table(&mut page, trend, system);
    basis(&mut page, trend, procedure);
    put!(page, "</main>\n</body>\n</html>");
    page
}

fn header(page: &mut String, trend: &Trend, procedure: Option<&ProcedureFile>) {
    let (joints, bands) = (count(trend.records.len(), "joint"), count(trend.bands(), "band"));
    put!(page, "<header>\n<p class=\"kind\">Hardbanding trend</p>\n<h1>{joints}, {bands}</h1>");
    let procedure = procedure.map_or("no procedure given".to_owned(), |file| escape(&file.title()));
    put!(page, "<dl class=\"facts\">\n<div><dt>Procedure</dt><dd>{procedure}</dd></div>");
    let starts = [trend.records.first(), trend.records.last()].map(|record| record?.begun());
    if let [Some(first), Some(last)] = starts {
        put!(page, "<div><dt>First joint</dt><dd>{}</dd></div>", escape(first));
        put!(page, "<div><dt>Last joint</dt><dd>{}</dd></div>", escape(last));
    }
    put!(page, "</dl>\n</header>");
}

fn head(page: &mut String, trend: &Trend, system: UnitSystem) {
    let (words, rest) = verdict(trend);
    let (class, sign) = match (trend.is_quiet(), trend.is_steady()) {
        (false, _) => ("outside", "✕"),
        (true, Some(true)) => ("within", "✓"),
        (true, _) => ("open", "?"),
    };
    put!(page, "<section class=\"verdict {class}\" aria-labelledby=\"verdict\">");
    put!(page, "<span class=\"sign\" aria-hidden=\"true\">{sign}</span>\n<div>");
    put!(page, "<h2 id=\"verdict\">{words}<span>{}</span></h2>", escape(&rest));
    put!(page, "</div>\n</section>");
    let starts = trend.unsteady_starts().filter_map(|series| start_sentence(trend, series, system));
    let starts: Vec<_> = starts.chain(doubts(trend, system)).collect();
    if trend.drifting().chain(trend.returned()).next().is_some() || !starts.is_empty() {
        put!(page, "<ul class=\"drifts\">");
        for (series, drift) in trend.drifting() {
            put!(page, "<li>{}</li>", escape(&typeset(&sentence(trend, series, drift, system))));
        }
        for (series, drift) in trend.returned() {
            let told = escape(&typeset(&sentence(trend, series, drift, system)));
            put!(page, "<li class=\"gone\">cleared: {told}</li>");
        }
        for told in &starts {
            put!(page, "<li>{}</li>", escape(&typeset(told)));
        }
        put!(page, "</ul>");
    }
}

fn causes(page: &mut String, trend: &Trend) {
    let unexplained = unexplained(trend);
    if trend.causes.is_empty() && unexplained.is_empty() {
        return;
    }
    put!(page, "<section aria-labelledby=\"causes-title\">\n<h2 id=\"causes-title\">Likely causes</h2>");
    put!(page, "<p>Most likely first; none is certain.</p>\n<ol class=\"causes\">");
    for likely in &trend.causes {
        let words = escape(&format!("{}{}", likely.cause.words, chart(trend, likely.group)));
        put!(page, "<li><h3>{words}</h3>\n<p>{}</p>", escape(&evidence(&likely.seen)));
        put!(page, "<p><strong>Check:</strong> {}</p></li>", escape(likely.cause.look_at));
    }
    put!(page, "</ol>");
    if !unexplained.is_empty() {
        put!(page, "<p>No cause known for: {}.</p>", unexplained.join(", "));
    }
    put!(page, "</section>");
}

fn charts(page: &mut String, trend: &Trend, system: UnitSystem) {
    put!(
        page,
        "<section id=\"charts\" aria-labelledby=\"charts-title\">\n<h2 id=\"charts-title\">Charts</h2>"
    );
    put!(
        page,
        "<p>One mark a joint, in order of time. Upper chart: the joints, each less what is known of operator, warmth \
         and events; the moving average (EWMA) that signals, and its limits; the allowed range where it is near. Lower chart: the cumulative sums (CUSUM) of what is above, going up, \
         and of what is below, going down, and the decision interval, all in standard deviations.</p>"
    );
    legend(page);
    put!(page, "<div class=\"figures\">");
    let (drifting, rest): (Vec<_>, Vec<_>) =
        trend.series.iter().partition(|series| series.drifting().is_some());
    for series in drifting.into_iter().chain(rest) {
        if series.baseline.is_some() {
            figure(page, trend, series, system);
        }
    }
    put!(page, "</div>\n</section>");
}

fn legend(page: &mut String) {
    const LINE: &str = "x1=\"0\" x2=\"28\" y1=\"7\" y2=\"7\"";
    const SQUARE: &str = "x=\"9\" y=\"2\" width=\"10\" height=\"10\"";
    let entries = [
        ("<circle class=\"base\" cx=\"14\" cy=\"7\" r=\"4\"/>".to_owned(), "joint of the baseline"),
        (
            "<circle class=\"aside\" cx=\"14\" cy=\"7\" r=\"4\"/>".to_owned(),
            "joint that does not count: set aside, or no baseline",
        ),
        ("<circle class=\"dot\" cx=\"14\" cy=\"7\" r=\"4\"/>".to_owned(), "joint watched"),
        (format!("<rect class=\"one\" {SQUARE}/>"), "one chart signals"),
        (format!("<rect class=\"both\" {SQUARE}/>"), "both signal: drift"),
        (format!("<line class=\"course\" {LINE}/>"), "average, sums"),
        (format!("<line class=\"limit\" {LINE}/>"), "limits"),
        (format!("<line class=\"event\" {LINE}/>"), "event: the level is learnt anew"),
        (format!("<line class=\"allowed\" {LINE}/>"), "end of the allowed range"),
    ];
    put!(page, "<ul class=\"legend\">");
    for (drawn, words) in entries {
        put!(page, "<li><svg viewBox=\"0 0 28 14\" aria-hidden=\"true\">{drawn}</svg>{words}</li>");
    }
    put!(page, "</ul>");
}

/// What a chart without a drift shows, for those who do not see it.
fn steady(series: &Series, system: UnitSystem) -> String {
    let show = |value| format(value, series.measure.description().dimension, system);
    let limits = series
        .ewma_limits
        .map_or(String::new(), |[low, high]| format!(", limits {} to {}", show(low), show(high)));
    let latest =
        series.points.last().map_or(String::new(), |point| format!(", latest {}", show(point.value)));
    format!("{}{limits}{latest}", standing(series))
}

fn figure(page: &mut String, trend: &Trend, series: &Series, system: UnitSystem) {
    let title = title(trend, series);
    let told = series
        .drift
        .as_ref()
        .map_or_else(|| steady(series, system), |drift| sentence(trend, series, drift, system));
    put!(page, "<figure class=\"trend\">\n<figcaption><strong>{title}</strong>: {}", standing(series));
    if let Some(told) = start_sentence(trend, series, system) {
        put!(page, "<br><small>Limits mean little: {}.</small>", escape(&typeset(&told)));
    }
    put!(page, "</figcaption>");
    let label = escape(&typeset(&format!("{title} over the joints: {told}")));
    trend_chart::readings(page, series, system, &label);
    trend_chart::sums(page, series, trend.options.design.interval, &escape(&title));
    put!(page, "</figure>");
}

fn table(page: &mut String, trend: &Trend, system: UnitSystem) {
    put!(
        page,
        "<section id=\"quantities\" aria-labelledby=\"table-title\">\n<h2 id=\"table-title\">All quantities</h2>"
    );
    put!(
        page,
        "<div class=\"scroll\" role=\"region\" aria-label=\"All quantities\" tabindex=\"0\">\n<table>"
    );
    put!(
        page,
        "<caption>Every quantity over all joints: its baseline, where it stands, how it fits the allowed range</caption>"
    );
    put!(page, "<thead><tr>");
    for name in
        ["Quantity", "Status", "Joints", "Baseline", "Spread", "Latest", "Allowed", "Cp", "Cpk", "Ppk"]
    {
        put!(page, "<th scope=\"col\">{name}</th>");
    }
    put!(page, "</tr></thead>\n<tbody>");
    for series in &trend.series {
        let description = series.measure.description();
        let show = |value| typeset(&format(value, description.dimension, system));
        let dash = || "-".to_owned();
        let class = match standing(series) {
            _ if series.drifting().is_some() => "warn",
            "steady" => "good",
            _ => "advise",
        };
        let standing = match series.baseline {
            Some(_) => format!("<span class=\"tag {class}\">{}</span>", standing(series)),
            None => standing(series).to_owned(),
        };
        let baseline = series.baseline.map_or_else(dash, |baseline| {
            format!("{} ({})", show(baseline.mean), count(baseline.count, "joint"))
        });
        let spread = series.baseline.map_or_else(dash, |baseline| {
            let least = if baseline.is_least { ", the least told" } else { "" };
            let spread =
                format_difference(baseline.deviation, description.dimension.of_differences(), system);
            format!("{}{least}", typeset(&spread))
        });
        let latest = series.points.last().map_or_else(dash, |point| show(point.value));
        put!(page, "<tr><th scope=\"row\">{}</th><td>{standing}</td>", escape(&title(trend, series)));
        let allowed = typeset(&allowed(series, system));
        let [cp, cpk, ppk] = figures(series.capability.as_ref());
        for cell in [series.points.len().to_string(), baseline, spread, latest, allowed, cp, cpk, ppk] {
            put!(page, "<td>{}</td>", escape(&cell));
        }
        put!(page, "</tr>");
    }
    put!(page, "</tbody>\n</table>\n</div>\n</section>");
}

fn basis(page: &mut String, trend: &Trend, procedure: Option<&ProcedureFile>) {
    put!(page, "<section aria-labelledby=\"basis-title\">\n<h2 id=\"basis-title\">Method</h2>\n<ul>");
    for line in known(trend).into_iter().chain(method(trend)) {
        put!(page, "<li>{}</li>", escape(&line));
    }
    if let Some(file) = procedure {
        put!(page, "<li>procedure file {}, SHA-256 {}</li>", escape(&file.file), file.sha256);
    }
    put!(page, "<li>made with bandward {}</li>\n</ul>\n<ol class=\"joints\">", env!("CARGO_PKG_VERSION"));
    for record in &trend.records {
        put!(page, "<li>{}</li>", escape(&joint(record)));
    }
    put!(page, "</ol>\n</section>");
}
