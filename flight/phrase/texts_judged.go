package phrase

// judgements are the reasons of the verdicts before a flight: of a prediction and of
// a release rule.
func judgements() map[string]Text {
	return map[string]Text{
		"predict.well": {
			En: "nothing in this prediction speaks against the launch", De: "nichts in dieser Vorhersage spricht gegen den Start", Ja: "この予測に発射を妨げるものはありません",
		},
		"predict.no-radius": {
			En: "no field radius given: 99 of 100 flights come down within {need} of the pad; is that ground clear?",
			De: "kein Radius des Platzes angegeben: 99 von 100 Flügen kommen innerhalb von {need} vom Startplatz herunter; ist das Gelände frei?",
			Ja: "会場の半径がありません：100回中99回は発射台から{need}以内に落下します。その範囲は空いていますか",
		},
		"predict.stray": {
			En: "a rocket that strays reaches {far}, beyond the {radius} of the field: keep people on one side and behind cover",
			De: "eine Rakete, die ausbricht, reicht {far} weit, über die {radius} des Platzes hinaus: alle auf eine Seite und hinter Deckung",
			Ja: "それたロケットは{far}まで届き、会場の{radius}を超えます。人を片側に集め、物陰に",
		},
		"predict.field-small": {
			En: "the field is too small: {radius} radius, but {need} are needed (beyond the edge come down {out} with the parachute, {fall} without)",
			De: "der Platz ist zu klein: Radius {radius}, nötig sind {need} (über den Rand hinaus kommen {out} mit Fallschirm, {fall} ohne)",
			Ja: "会場が狭すぎます：半径{radius}、必要なのは{need}（縁の外に落ちるのはパラシュートありで{out}、なしで{fall}）",
		},
		"predict.no-parachute": {
			En: "no parachute is released: the rocket comes down at {speed} with {energy}",
			De: "kein Fallschirm wird ausgeworfen: die Rakete kommt mit {speed} und {energy} herunter",
			Ja: "パラシュートを放出しません：{speed}、{energy}で落下します",
		},
		"predict.late": {
			En: "the release comes too late: in {part} of the flights the rocket is down before it",
			De: "der Auswurf kommt zu spät: bei {part} der Flüge ist die Rakete vorher unten",
			Ja: "放出が遅すぎます：{part}の飛行でその前に落下します",
		},
		"predict.parachute-small": {
			En: "the parachute is small: it sinks at {sink} (up to {most#}); {want} of diameter would give {five}",
			De: "der Fallschirm ist klein: sie sinkt mit {sink} (bis zu {most#}); {want} Durchmesser gäben {five}",
			Ja: "パラシュートが小さい：{sink}で降下（最大{most#}）。直径{want}なら{five}",
		},
		"predict.parachute-large": {
			En: "the parachute is large: it sinks at {sink} only and drifts for {time}",
			De: "der Fallschirm ist groß: sie sinkt nur mit {sink} und treibt {time} lang ab",
			Ja: "パラシュートが大きい：{sink}でしか降下せず、{time}流されます",
		},
		"predict.grounded": {
			En: "{n} of {all} drawn flights do not fly: {why}", De: "{n} von {all} gezogenen Flügen fliegen nicht: {why}", Ja: "{all}回中{n}回は飛びません：{why}",
		},
		"predict.gauge": {
			En: "with the error of the gauge the pressure may be {high}, above the rating of {rating}",
			De: "mit dem Fehler des Manometers kann der Druck {high} sein, über den zulässigen {rating}",
			Ja: "圧力計の誤差で圧力は{high}になり得て、許容の{rating}を超えます",
		},
		"predict.water-left": {
			En: "{left} of water stay in the bottle: there is not enough air to drive them out",
			De: "{left} Wasser bleiben in der Flasche: die Luft reicht nicht, sie auszutreiben",
			Ja: "水{left}が瓶に残ります：押し出す空気が足りません",
		},
		"predict.rail": {
			En: "the rocket leaves the rail at {speed}, less than {times} times the wind of {wind}: it may turn into the wind, which is not in this model",
			De: "die Rakete verlässt die Rampe mit {speed}, weniger als das {times}-fache des Winds von {wind}: sie kann sich in den Wind drehen, was nicht in diesem Modell steckt",
			Ja: "発射台を離れる速さは{speed}で、風{wind}の{times}倍に足りません。風上を向くことがあり、このモデルには入っていません",
		},

		"tune.none-sure": {
			En: "no setting is sure to fail in no more than {limit} of 1000 flights; this one fails least. Read more often, take a sensor with less noise, or bear more.",
			De: "keine Einstellung versagt sicher in höchstens {limit} von 1000 Flügen; diese versagt am seltensten. Öfter messen, einen ruhigeren Sensor nehmen, oder mehr hinnehmen.",
			Ja: "1000回中{limit}回以下と確かに言える設定がありません。これが最も失敗の少ないものです。測定を増やす、雑音の少ないセンサにする、または上限を上げてください。",
		},
		"tune.recorded": {
			En: "on the recorded flights it releases early in {early} and not at all in {never} of {n}.",
			De: "bei den aufgezeichneten Flügen wirft sie in {early} zu früh und in {never} gar nicht aus, von {n}.",
			Ja: "記録した{n}回の飛行で、早い放出が{early}回、放出なしが{never}回です。",
		},
		"tune.pad-armed": {
			En: "wind and noise on the pad armed it in {count} of {all} hours; give a higher --arm-m.",
			De: "Wind und Rauschen am Startplatz machten sie in {count} von {all} Stunden scharf; ein größeres --arm-m angeben.",
			Ja: "発射台の風と雑音で{all}時間中{count}時間に作動準備になりました。--arm-mを大きくしてください。",
		},
		"tune.disagree": {
			En: "fresh flights disagree with those it was chosen by; take more --draws.",
			De: "frische Flüge widersprechen denen, nach denen sie gewählt wurde; mehr --draws nehmen.",
			Ja: "新しい飛行が、選ぶのに使った飛行と一致しません。--drawsを増やしてください。",
		},
		"tune.fresh": {
			En: "on fresh flights it fails more often than in {limit} of 1000; take more --draws.",
			De: "bei frischen Flügen versagt sie öfter als in {limit} von 1000; mehr --draws nehmen.",
			Ja: "新しい飛行では1000回中{limit}回より多く失敗します。--drawsを増やしてください。",
		},
		"tune.backup-late": {
			En: "for most of these flights the backup time comes after the ground; narrow the apogees to those of one rocket.",
			De: "bei den meisten dieser Flüge kommt die Ersatzzeit nach dem Boden; die Gipfel auf die einer Rakete eingrenzen.",
			Ja: "ほとんどの飛行で予備タイマーは落下の後になります。頂点を一つのロケットの範囲に絞ってください。",
		},
		"tune.well": {
			En: "it fails in no more than {limit} of 1000 such flights, and fresh flights agree.",
			De: "sie versagt in höchstens {limit} von 1000 solchen Flügen, und frische Flüge stimmen zu.",
			Ja: "こうした飛行1000回中の失敗は{limit}回以下で、新しい飛行とも一致します。",
		},
	}
}
