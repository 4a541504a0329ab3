package phrase

// flightAlarms are the texts of what is told of a rocket in the air and after its
// landing.
func flightAlarms() map[string]Text {
	return map[string]Text{
		"height.unknown": {
			En: "an unknown height", De: "unbekannter Höhe", Ja: "高さ不明",
		},
		"quantity":       {En: "{value}", De: "{value}", Ja: "{value}"},
		"quantity.range": {En: "{from#} to {to}", De: "{from#} bis {to}", Ja: "{from#}～{to}"},
		"motion.unknown": {
			En: "speed unknown", De: "Geschwindigkeit unbekannt", Ja: "速度不明",
		},
		"motion.up": {
			En: "climbing at {speed}", De: "steigt mit {speed}", Ja: "{speed}で上昇中",
		},
		"motion.down": {
			En: "sinking at {speed}", De: "sinkt mit {speed}", Ja: "{speed}で降下中",
		},
		"motion.still": {
			En: "hardly moving", De: "bewegt sich kaum", Ja: "ほぼ静止",
		},

		"ballistic.say": {
			En:   "{rocket} ballistic, look up",
			De:   "Achtung! {rocket} fällt ungebremst, nach oben schauen",
			Ja:   "上を見て！{rocket}、パラシュートなしで落下中",
			Kana: "うえをみて！{rocket}、パラシュートなしでらっかちゅう",
		},
		"ballistic.say.one": {
			En:   "look up! {rocket} ballistic, {left#} second",
			De:   "Nach oben schauen! {rocket} fällt ungebremst, noch {left#} Sekunde",
			Ja:   "上を見て！{rocket}、落下中、あと{left#}秒",
			Kana: "うえをみて！{rocket}、らっかちゅう、あと{left#}びょう",
		},
		"ballistic.say.many": {
			En:   "look up! {rocket} ballistic, {left#} seconds",
			De:   "Nach oben schauen! {rocket} fällt ungebremst, noch {left#} Sekunden",
			Ja:   "上を見て！{rocket}、落下中、あと{left#}秒",
			Kana: "うえをみて！{rocket}、らっかちゅう、あと{left#}びょう",
		},
		"ballistic.say.short": {
			En: "look up! {rocket} ballistic", De: "Nach oben schauen! {rocket} fällt ungebremst", Ja: "上を見て！{rocket}、落下中",
		},
		"ballistic": {
			En: "{rocket} comes down at {speed} from {height}, {after} after its apogee; free fall would be {free}, and {why}. Impact {when}{drag}. Look up, point at it, move away from under it, and keep people behind cover until it is down.",
			De: "{rocket} fällt mit {speed} aus {height}, {after} nach dem Gipfel; freier Fall wäre {free}, und {why}. Aufschlag {when}{drag}. Nach oben schauen, auf die Rakete zeigen, darunter weggehen; alle bleiben in Deckung, bis sie unten ist.",
			Ja: "{rocket}が{height}から{speed}で落下中（頂点から{after}）。自由落下なら{free}。{why}。{when}地面に衝突{drag}。上を見て、指さして、真下から離れ、落ちるまで全員物陰にいてください。",
		},
		"ballistic.unseen": {
			En: "no release was seen", De: "ein Auswurf wurde nicht gesehen", Ja: "放出は確認されていません",
		},
		"ballistic.told": {
			En: "the release was told, but nothing brakes the fall",
			De: "der Auswurf ist gemeldet, aber nichts bremst den Fall",
			Ja: "放出の通知はあるが、落下が減速していません",
		},
		"ballistic.without": {
			En: "it has no release", De: "sie hat keinen Auswurf", Ja: "放出装置がありません",
		},
		"ballistic.unbraked": {
			En: "nothing brakes the fall", De: "nichts bremst den Fall", Ja: "落下が減速していません",
		},
		"ballistic.soon": {En: "any moment", De: "jeden Augenblick", Ja: "今すぐにも"},
		"ballistic.when": {En: "in about {left}", De: "in etwa {left}", Ja: "約{left}後に"},
		"ballistic.nodrag": {
			En: " (without drag: mass, diameter or cd is not given)",
			De: " (ohne Luftwiderstand: Masse, Durchmesser oder cd ist nicht angegeben)",
			Ja: "（空気抵抗なしの計算：質量・直径・cdのいずれかが未設定）",
		},

		"no-release.say": {
			En:   "{rocket} no release, look up",
			De:   "{rocket} kein Auswurf, nach oben schauen",
			Ja:   "{rocket}、放出なし、上を見て",
			Kana: "{rocket}、ほうしゅつなし、うえをみて",
		},
		"no-release": {
			En: "{rocket} has not released its parachute {after} after the apogee ({expected} expected): at {height}, {motion}. Without it the ground comes in about {left}. Look up and keep clear.",
			De: "{rocket} hat den Fallschirm {after} nach dem Gipfel noch nicht ausgeworfen (erwartet nach {expected}): in {height}, {motion}. Ohne ihn kommt der Boden in etwa {left}. Nach oben schauen und Abstand halten.",
			Ja: "{rocket}は頂点から{after}たってもパラシュートを放出していません（予定は{expected}）。高さ{height}、{motion}。このままだと約{left}で地面です。上を見て、離れてください。",
		},
		"early-release.say": {
			En:   "{rocket} released early, look up",
			De:   "{rocket} zu früh ausgeworfen, nach oben schauen",
			Ja:   "{rocket}、早すぎる放出、上を見て",
			Kana: "{rocket}、はやすぎるほうしゅつ、うえをみて",
		},
		"early-release": {
			En: "{rocket} released {when}, at {height}, {motion}. The parachute may tear or tangle in the stream, and the rocket may fall anywhere. Look up and keep clear; then check the armed-after-liftoff setting and the wiring of the release.",
			De: "{rocket} hat {when} ausgeworfen, in {height}, {motion}. Der Fallschirm kann in der Strömung reißen oder sich verwickeln, und die Rakete kann überall herunterkommen. Nach oben schauen und Abstand halten; danach die Scharfschaltung nach dem Abheben und die Verkabelung des Auswurfs prüfen.",
			Ja: "{rocket}が{when}に放出しました。高さ{height}、{motion}。パラシュートが気流で破れたり絡んだりし、どこに落ちるか分かりません。上を見て、離れてください。その後、発射後の作動許可の設定と放出装置の配線を点検してください。",
		},
		"early-release.ahead": {
			En: "about {ahead} before the apogee", De: "etwa {ahead} vor dem Gipfel", Ja: "頂点の約{ahead}前",
		},
		"early-release.boost": {
			En: "during the boost", De: "während des Schubs", Ja: "加速中",
		},
		"not-armed.say": {
			En:   "{rocket} not armed, look up",
			De:   "{rocket} nicht scharf, nach oben schauen",
			Ja:   "{rocket}、作動準備なし、上を見て",
			Kana: "{rocket}、さどうじゅんびなし、うえをみて",
		},
		"not-armed": {
			En: "{rocket} climbs, {after} after its liftoff, and its board says that the apogee rule is not armed: it may not release the parachute. Look up and keep clear. Afterwards look at the switch or the arming height in the firmware.",
			De: "{rocket} steigt, {after} nach dem Abheben, und die Elektronik meldet, dass die Gipfelerkennung nicht scharf ist: der Fallschirm kommt vielleicht nicht. Nach oben schauen und Abstand halten. Danach den Schalter oder die Scharfschalthöhe in der Firmware ansehen.",
			Ja: "{rocket}は発射から{after}、上昇中ですが、基板は頂点検出が作動準備されていないと伝えています。パラシュートが出ないかもしれません。上を見て、離れてください。その後、スイッチかファームウェアの作動高度を確認してください。",
		},
		"fast-descent.say": {
			En:   "{rocket} coming down fast, look up",
			De:   "{rocket} kommt schnell herunter, nach oben schauen",
			Ja:   "{rocket}、速く降下中、上を見て",
			Kana: "{rocket}、はやくこうかちゅう、うえをみて",
		},
		"fast-descent": {
			En: "{rocket} sinks at {speed}; its parachute ({parachute}, {mass}) should let it sink at {expected}. It is torn, tangled or half open. It reaches the ground in about {left}. Look up and keep clear.",
			De: "{rocket} sinkt mit {speed}; mit dem Fallschirm ({parachute}, {mass}) sollten es {expected} sein. Er ist gerissen, verwickelt oder halb offen. Am Boden in etwa {left}. Nach oben schauen und Abstand halten.",
			Ja: "{rocket}は{speed}で降下中。パラシュート（{parachute}、{mass}）なら{expected}のはずです。破れ、絡み、または半開きです。約{left}で地面に着きます。上を見て、離れてください。",
		},
		"slow-descent.say": {
			En: "{rocket} sinking slowly", De: "{rocket} sinkt langsam", Ja: "{rocket}、ゆっくり降下中",
		},
		"slow-descent": {
			En: "{rocket} sinks at {speed} from {height}; {expected} was expected. It is in rising air, lighter than configured, or came apart. It stays up for about {left} more.{drift} Keep it in sight.",
			De: "{rocket} sinkt mit {speed} aus {height}; erwartet waren {expected}. Sie ist im Aufwind, leichter als angegeben, oder auseinandergefallen. Sie bleibt noch etwa {left} oben.{drift} Im Auge behalten.",
			Ja: "{rocket}は{height}から{speed}で降下中。予想は{expected}でした。上昇気流の中か、設定より軽いか、分解しています。あと約{left}は空中です。{drift}目を離さないでください。",
		},
		"slow-descent.drift": {
			En: " In {wind} of wind it drifts about {drift} meanwhile.",
			De: " Bei {wind} Wind treibt sie inzwischen etwa {drift} ab.",
			Ja: "風速{wind}でその間に約{drift}流されます。",
		},
		"out-of-field.say": {
			En: "{rocket} leaving the field", De: "{rocket} verlässt das Gelände", Ja: "{rocket}、打上げ場の外へ",
			Kana: "{rocket}、うちあげじょうのそとへ",
		},
		"out-of-field.beyond": {
			En: "{rocket} is {far} from the pad; the field ends at {edge}. Keep it in sight; nobody runs after it across a road or a fence.",
			De: "{rocket} ist {far} vom Startplatz entfernt; das Gelände endet bei {edge}. Im Auge behalten; niemand läuft ihr über eine Straße oder einen Zaun nach.",
			Ja: "{rocket}は発射台から{far}。打上げ場の端は{edge}です。目を離さず、道路や柵を越えて追いかけないでください。",
		},
		"out-of-field.drift": {
			En: "{rocket} drifts at {speed} and will touch down about {reach} from the pad in {left}; the field ends at {edge}. Warn whoever is there and keep it in sight.",
			De: "{rocket} treibt mit {speed} und landet in {left} etwa {reach} vom Startplatz; das Gelände endet bei {edge}. Alle dort warnen und die Rakete im Auge behalten.",
			Ja: "{rocket}は{speed}で流され、{left}後に発射台から約{reach}に着地します。打上げ場の端は{edge}です。そこにいる人に知らせ、目を離さないでください。",
		},
		"out-of-field.wind": {
			En: "In {wind} of wind {rocket} will drift about {reach} until it touches down in {left}; the field ends at {edge}. Warn whoever is there and keep it in sight.",
			De: "Bei {wind} Wind treibt {rocket} bis zur Landung in {left} etwa {reach} ab; das Gelände endet bei {edge}. Alle dort warnen und die Rakete im Auge behalten.",
			Ja: "風速{wind}では、{rocket}は{left}後の着地までに約{reach}流されます。打上げ場の端は{edge}です。そこにいる人に知らせ、目を離さないでください。",
		},
		"silent.say.pad": {
			En: "{rocket} not heard", De: "{rocket} nicht zu hören", Ja: "{rocket}、受信なし",
		},
		"silent.pad": {
			En: "Nothing heard from {rocket} for {quiet}. Is the board on, the cell charged, the antenna in place, the channel right?",
			De: "Seit {quiet} nichts von {rocket} gehört. Ist die Elektronik an, die Zelle geladen, die Antenne dran, der Kanal richtig?",
			Ja: "{rocket}から{quiet}受信がありません。基板の電源、電池の充電、アンテナ、チャンネルは大丈夫ですか。",
		},
		"silent.say": {
			En: "{rocket} silent, look up", De: "{rocket} verstummt, nach oben schauen", Ja: "{rocket}、受信が途絶、上を見て",
			Kana: "{rocket}、じゅしんがとぜつ、うえをみて",
		},
		"silent": {
			En: "Nothing heard from {rocket} for {quiet} in flight. Last known: {height} above the pad, {motion}. {expected} Keep it in sight and keep clear; note where it goes down.",
			De: "Seit {quiet} im Flug nichts von {rocket} gehört. Zuletzt bekannt: {height} über dem Startplatz, {motion}. {expected} Im Auge behalten und Abstand halten; merken, wo sie herunterkommt.",
			Ja: "飛行中の{rocket}から{quiet}受信がありません。最後の記録：発射台から上へ{height}、{motion}。{expected}目を離さず、離れて、落ちた場所を覚えてください。",
		},
		"silent.nowhere": {
			En: "Its height is not known.", De: "Die Höhe ist nicht bekannt.", Ja: "高さは分かりません。",
		},
		"silent.body": {
			En: "Without a parachute it touches down about {body} after the last frame, at {at}.",
			De: "Ohne Fallschirm ist sie etwa {body} nach der letzten Meldung unten, um {at}.",
			Ja: "パラシュートなしなら最後の受信から約{body}後、{at}に着地します。",
		},
		"silent.both": {
			En: "Touchdown is expected about {soft} after the last frame under the parachute ({at}), {body} without it.",
			De: "Landung etwa {soft} nach der letzten Meldung am Fallschirm ({at}), {body} ohne ihn.",
			Ja: "着地予想は最後の受信から、パラシュートで約{soft}（{at}）、なしなら{body}です。",
		},
		"reboot.say.pad": {
			En: "{rocket} board started again", De: "{rocket} Elektronik neu gestartet", Ja: "{rocket}、基板が再起動",
		},
		"reboot.pad": {
			En: "{rocket}'s board started again (start {boot}). If nobody switched it, look for a loose plug, a tired cell, or a servo that draws too much.",
			De: "Die Elektronik von {rocket} hat neu gestartet (Start {boot}). Hat niemand geschaltet: nach losem Stecker, müder Zelle oder zu durstigem Servo suchen.",
			Ja: "{rocket}の基板が再起動しました（{boot}回目の起動）。誰も操作していなければ、コネクタの緩み、弱った電池、電流の大きすぎるサーボを調べてください。",
		},
		"reboot.say": {
			En:   "{rocket} board started again in flight, look up",
			De:   "{rocket} Elektronik im Flug neu gestartet, nach oben schauen",
			Ja:   "{rocket}、飛行中に基板が再起動、上を見て",
			Kana: "{rocket}、ひこうちゅうにきばんがさいきどう、うえをみて",
		},
		"reboot": {
			En: "{rocket}'s board started again in flight, at {height} (start {boot}). It has lost its pad level and may not release the parachute. Look up and keep clear.",
			De: "Die Elektronik von {rocket} hat im Flug neu gestartet, in {height} (Start {boot}). Sie kennt die Höhe des Startplatzes nicht mehr und wirft den Fallschirm vielleicht nicht aus. Nach oben schauen und Abstand halten.",
			Ja: "{rocket}の基板が飛行中、高さ{height}で再起動しました（{boot}回目の起動）。発射台の基準高さを失い、パラシュートを放出しないかもしれません。上を見て、離れてください。",
		},

		"hung.say": {
			En: "{rocket} hangs above the ground", De: "{rocket} hängt über dem Boden", Ja: "{rocket}、高い所に引っかかった",
			Kana: "{rocket}、たかいところにひっかかった",
		},
		"hung": {
			En: "{rocket} has come to rest {height} above the pad's level: in a tree, on a roof, on a line, or on a slope. If it hangs on a power line, leave it and call the line's owner. Do not climb after it and do not throw things at it.",
			De: "{rocket} ist {height} über dem Startplatz zur Ruhe gekommen: in einem Baum, auf einem Dach, an einer Leitung oder an einem Hang. Hängt sie an einer Stromleitung: hängen lassen und den Betreiber anrufen. Nicht hinaufklettern und nichts danach werfen.",
			Ja: "{rocket}は発射台より{height}高い所で止まりました。木、屋根、電線、または斜面の上です。電線なら触らず、電力会社に連絡してください。登ったり、物を投げたりしないでください。",
		},
		"not-at-rest.say": {
			En: "{rocket} not at rest", De: "{rocket} liegt nicht still", Ja: "{rocket}、静止していない",
		},
		"not-at-rest.late": {
			En: "{rocket} should have touched down {over} ago and is not found at rest: it is near the ground at {height}, {motion}. Look whether it is dragged by its canopy or still in the air.",
			De: "{rocket} sollte seit {over} gelandet sein und liegt nicht still: nahe am Boden in {height}, {motion}. Nachsehen, ob der Schirm sie schleift oder ob sie noch fliegt.",
			Ja: "{rocket}は{over}前に着地したはずですが、静止していません。地面近く、高さ{height}、{motion}。傘に引きずられているか、まだ空中か見てください。",
		},
		"not-at-rest": {
			En: "{rocket} has landed but its height still wanders by {wander} rms ({limit} is the limit): it is dragged by its canopy, rolls, or somebody carries it. Collapse the canopy when you get there.",
			De: "{rocket} ist gelandet, aber die Höhe schwankt noch um {wander} rms (Grenze {limit}): der Schirm schleift sie, sie rollt, oder jemand trägt sie. Den Schirm zusammenraffen, wenn Sie dort sind.",
			Ja: "{rocket}は着地しましたが、高さがまだ{wander} rms変動しています（限度{limit}）。傘に引きずられているか、転がっているか、誰かが運んでいます。着いたら傘を畳んでください。",
		},
		"servo-on.say": {
			En:   "{rocket} servo still pulls, unplug it",
			De:   "{rocket} Servo zieht noch, abstecken",
			Ja:   "{rocket}、サーボが引き続き作動、電池を外して",
			Kana: "{rocket}、サーボがさどうちゅう、でんちをはずして",
		},
		"servo-on": {
			En: "{rocket} lies on the ground and its supply is still loaded: {now} now, {before} before the flight, with steps of {step}; {pulse}. The servo pulls against something: it heats up and empties the cell. Unplug it soon, and free the linkage.",
			De: "{rocket} liegt am Boden und die Versorgung ist noch belastet: jetzt {now}, vor dem Flug {before}, mit Sprüngen von {step}; {pulse}. Der Servo zieht gegen etwas: er wird heiß und leert die Zelle. Bald abstecken und das Gestänge frei machen.",
			Ja: "{rocket}は地上ですが電源に負荷が残っています：現在{now}、飛行前{before}、変動{step}。{pulse}。サーボが何かに当たって発熱し、電池を消耗します。早く電池を外し、リンクを自由にしてください。",
		},
		"servo-on.untold": {
			En: "its pulse is not told", De: "sein Puls wird nicht gemeldet", Ja: "パルスは通知されていません",
		},
		"servo-on.pulse": {
			En: "the pulse is still {pulse}", De: "der Puls ist noch {pulse}", Ja: "パルスはまだ{pulse}",
		},
		"cell-flat.say": {
			En: "{rocket} cell is flat, unplug it", De: "{rocket} Zelle leer, abstecken", Ja: "{rocket}、電池切れ、外して",
			Kana: "{rocket}、でんちぎれ、はずして",
		},
		"cell-flat": {
			En: "{rocket}'s supply is down to {volts}; a {supply} should not go below {cutoff}. Unplug it. Do not charge a lithium cell that was this empty before you have checked it: it may be damaged and can catch fire.",
			De: "Die Versorgung von {rocket} ist auf {volts} gefallen; {supply} sollte nicht unter {cutoff} gehen. Abstecken. Eine so leere Lithiumzelle nicht ungeprüft laden: sie kann beschädigt sein und Feuer fangen.",
			Ja: "{rocket}の電源が{volts}まで下がりました。{supply}は{cutoff}を下回ってはいけません。外してください。ここまで減ったリチウム電池は、点検するまで充電しないでください。傷んでいて発火することがあります。",
		},
	}
}
