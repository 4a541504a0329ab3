package phrase

// calls are the texts of what is called out besides alarms.
func calls() map[string]Text {
	return map[string]Text{
		"call.liftoff":   {En: "{rocket} liftoff", De: "{rocket} hebt ab", Ja: "{rocket}、発射"},
		"call.apogee":    {En: "{rocket} apogee", De: "{rocket} am Gipfel", Ja: "{rocket}、頂点"},
		"call.apogee.at": {En: "{rocket} apogee, {height}", De: "{rocket} am Gipfel, {height}", Ja: "{rocket}、頂点、{height}"},
		"call.release":   {En: "{rocket} release", De: "{rocket} Auswurf", Ja: "{rocket}、放出"},
		"call.sounded":   {En: "{rocket}, the sounder says {height}", De: "{rocket}, der Piepser sagt {height}", Ja: "{rocket}、ブザーの高さ、{height}"},
		"call.down":      {En: "{rocket} landed", De: "{rocket} ist unten", Ja: "{rocket}、着地"},
		"call.height":    {En: "{rocket} {height#}", De: "{rocket} {height#}", Ja: "{rocket}、{height#}"},
		"call.metre":     {En: "{height#} metre", De: "{height#} Meter", Ja: "{height#}メートル"},
		"call.metres":    {En: "{height#} metres", De: "{height#} Meter", Ja: "{height#}メートル"},
	}
}

// kana is how the Japanese texts are read that are called out: a voice without a
// dictionary, such as espeak-ng's, reads no kanji.
func kana() map[string]string {
	return map[string]string{
		"call.liftoff":   "{rocket}、はっしゃ",
		"call.apogee":    "{rocket}、ちょうてん",
		"call.apogee.at": "{rocket}、ちょうてん、{height}",
		"call.release":   "{rocket}、ほうしゅつ",
		"call.sounded":   "{rocket}、ブザーのたかさ、{height}",
		"call.down":      "{rocket}、ちゃくち",
		"call.height":    "{rocket}、{height#}",
		"call.metre":     "{height#}メートル",
		"call.metres":    "{height#}メートル",

		"ballistic.say":            "うえをみて！{rocket}、パラシュートなしでらっかちゅう",
		"ballistic.say.one":        "うえをみて！{rocket}、らっかちゅう、あと{left#}びょう",
		"ballistic.say.many":       "うえをみて！{rocket}、らっかちゅう、あと{left#}びょう",
		"no-release.say":           "{rocket}、ほうしゅつなし、うえをみて",
		"early-release.say":        "{rocket}、はやすぎるほうしゅつ、うえをみて",
		"not-armed.say":            "{rocket}、さどうじゅんびなし、うえをみて",
		"fast-descent.say":         "{rocket}、はやくこうかちゅう、うえをみて",
		"out-of-field.say":         "{rocket}、うちあげじょうのそとへ",
		"silent.say":               "{rocket}、じゅしんがとぜつ、うえをみて",
		"reboot.say":               "{rocket}、ひこうちゅうにきばんがさいきどう、うえをみて",
		"hung.say":                 "{rocket}、たかいところにひっかかった",
		"servo-on.say":             "{rocket}、サーボがさどうちゅう、でんちをはずして",
		"cell-flat.say":            "{rocket}、でんちぎれ、はずして",
		"armed-early.say":          "{rocket}、さどうじゅんびがはやすぎる",
		"no-liftoff.say":           "{rocket}、はっしゃせず、ちかづかないで",
		"implausible-pressure.say": "{rocket}、きあつがおかしい",
		"odd-one-out.say":          "{rocket}、きあつがほかとちがう",
		"sensor-stuck.say":         "{rocket}、きあつセンサがかたまった",
		"sensors-apart.say":        "{rocket}、ふたつのきあつセンサがくいちがう",
		"sensor-noisy.say":         "{rocket}、きあつのざつおんがおおきい",
		"sensor-drift.say":         "{rocket}、はっしゃだいできあつがずれる",
		"sensor-coarse.say":        "{rocket}、きあつのきざみがあらい",
		"servo-range.say":          "{rocket}、サーボのパルスがはんいがい",
		"servo-moving.say.open":    "{rocket}、はっしゃだいでほうしゅつそうちがひらいている",
		"servo-moving.say":         "{rocket}、はっしゃだいでサーボがうごく",
		"collision.say":            "{rocket}と{other}のそうしんがしょうとつ",
		"duplicate-id.say":         "ふたつのきばんが{rocket}をなのる",
		"rate-wrong.say":           "{rocket}、そうしんひんどがちがう",
		"cell-low.say":             "{rocket}、でんちがすくない",
		"wrong-supply.say":         "{rocket}、でんげんがせっていとちがう",
		"cell-sag.say":             "{rocket}、サーボででんあつがおちる",
		"disk-full.say":            "ディスクまんぱい、きろくていし",
		"disk-full.gone.say":       "きろくファイルがけされた",
		"disk-full.damaged.say":    "アーカイブがこわれた",
	}
}
