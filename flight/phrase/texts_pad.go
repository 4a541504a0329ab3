package phrase

// padAlarms are the texts of what is told of a rocket on the pad, and of what still
// keeps it from flying.
func padAlarms() map[string]Text {
	return map[string]Text{
		"armed-early.say": {
			En: "{rocket} armed too early", De: "{rocket} zu früh scharf", Ja: "{rocket}、作動準備が早すぎる",
			Kana: "{rocket}、さどうじゅんびがはやすぎる",
		},
		"armed-early": {
			En: "{rocket}'s apogee rule is armed while the rocket stands on the pad. {why} Keep hands away from the parachute's lid.",
			De: "Die Gipfelerkennung von {rocket} ist scharf, während die Rakete am Startplatz steht. {why} Hände weg vom Deckel des Fallschirms.",
			Ja: "{rocket}は発射台にあるのに頂点検出が作動準備済みです。{why}パラシュートのふたに手を近づけないでください。",
		},
		"armed-early.after-liftoff": {
			En: "It should arm only after the liftoff: now a gust or a door in the wind may open the release with people beside it.",
			De: "Sie darf erst nach dem Abheben scharf werden: jetzt kann eine Böe den Auswurf öffnen, während Leute daneben stehen.",
			Ja: "作動準備は発射後だけにすべきです。今は突風だけで、人のそばで放出装置が開くおそれがあります。",
		},
		"armed-early.settle": {
			En: "It has not had time to learn the pad's pressure: switch it off and on, and arm it later.",
			De: "Sie hatte keine Zeit, den Luftdruck am Startplatz zu lernen: aus- und einschalten und später scharf machen.",
			Ja: "発射台の気圧を覚える時間がありませんでした。電源を入れ直し、後で作動準備してください。",
		},
		"no-liftoff.say": {
			En: "{rocket} no liftoff, stay back", De: "{rocket} nicht abgehoben, zurückbleiben", Ja: "{rocket}、発射せず、近づかないで",
			Kana: "{rocket}、はっしゃせず、ちかづかないで",
		},
		"no-liftoff": {
			En: "On {rocket}'s pad {hint}, {ago} ago, and it did not lift off. Stay back: the bottle may still hold pressure, or the motor may yet fire. Wait as your range safety officer says, let the pressure out from a distance, then look.",
			De: "Am Startplatz von {rocket}: {hint}, vor {ago}, und sie hat nicht abgehoben. Zurückbleiben: die Flasche kann noch unter Druck stehen, oder der Motor noch zünden. Warten, wie der Sicherheitsverantwortliche sagt, den Druck aus der Ferne ablassen, dann nachsehen.",
			Ja: "{rocket}の発射台で{ago}前に{hint}が、発射しませんでした。近づかないでください。ボトルにまだ圧力があるか、モーターがこれから点火するかもしれません。安全責任者の指示を待ち、離れた所から圧力を抜いてから確認してください。",
		},
		"no-liftoff.bottle": {
			En: "the bottle's pressure fell from {from#} to {to}",
			De: "der Flaschendruck fiel von {from#} auf {to}",
			Ja: "ボトルの圧力が{from#}から{to}に下がりました",
		},
		"no-liftoff.jolt": {
			En: "the rocket was jolted ({accel})", De: "die Rakete bekam einen Stoß ({accel})", Ja: "ロケットに衝撃がありました（{accel}）",
		},
		"no-liftoff.blow": {
			En: "the barometer felt a blow of {blow}", De: "das Barometer spürte einen Druckstoß von {blow}", Ja: "気圧計に{blow}の衝撃がありました",
		},
		"implausible-pressure.say": {
			En: "{rocket} pressure not plausible", De: "{rocket} Luftdruck unglaubwürdig", Ja: "{rocket}、気圧がおかしい",
			Kana: "{rocket}、きあつがおかしい",
		},
		"implausible-pressure": {
			En: "{rocket} reads {pressure} on the pad; {how}: {apart} of height apart. Check the unit and the calibration in the layout, the site's elevation, and whether the sensor's hole is free.",
			De: "{rocket} misst am Startplatz {pressure}; {how}: {apart} Höhenunterschied. Einheit und Kalibrierung im Layout prüfen, die Höhe des Geländes, und ob das Loch des Sensors frei ist.",
			Ja: "{rocket}は発射台で{pressure}を示しています。{how}。高さにして{apart}の差です。レイアウトの単位と校正、会場の標高、センサの穴の詰まりを確認してください。",
		},
		"implausible-pressure.standard": {
			En: "the standard atmosphere has {want} at the site's elevation",
			De: "die Normatmosphäre hat {want} in der Höhe des Geländes",
			Ja: "会場の標高での標準大気は{want}です",
		},
		"implausible-pressure.measured": {
			En: "the site's measured pressure is {want}", De: "gemessen sind am Gelände {want}", Ja: "会場の実測気圧は{want}です",
		},
		"implausible-pressure.nowhere": {
			En: "no place where people fly has that", De: "so ist es nirgends, wo man fliegt", Ja: "そのような打上げ場はありません",
		},
		"odd-one-out.say": {
			En: "{rocket} pressure unlike the others", De: "{rocket} Luftdruck anders als die anderen", Ja: "{rocket}、気圧が他と違う",
			Kana: "{rocket}、きあつがほかとちがう",
		},
		"odd-one-out": {
			En: "{rocket} reads {pressure}, but {who}: {apart} of height apart. {hint}",
			De: "{rocket} misst {pressure}, aber {who}: {apart} Höhenunterschied. {hint}",
			Ja: "{rocket}は{pressure}ですが、{who}：高さにして{apart}の差です。{hint}",
		},
		"odd-one-out.many": {
			En: "{count} other rockets on the pad read {pressure}", De: "{count} andere Raketen am Startplatz messen {pressure}", Ja: "発射台の他の{count}機は{pressure}",
		},
		"odd-one-out.one": {
			En: "{other} reads {pressure}", De: "{other} misst {pressure}", Ja: "{other}は{pressure}",
		},
		"odd-one-out.check": {
			En: "Check its layout and calibration, and whether its sensor's hole is free.",
			De: "Layout und Kalibrierung prüfen, und ob das Loch des Sensors frei ist.",
			Ja: "レイアウトと校正、センサの穴の詰まりを確認してください。",
		},
		"odd-one-out.which": {
			En: "One of the two is wrong: measure the pressure or set the site's elevation to know which.",
			De: "Eine von beiden irrt: den Luftdruck messen oder die Höhe des Geländes angeben, um zu wissen, welche.",
			Ja: "どちらかが誤りです。気圧を測るか会場の標高を設定すれば分かります。",
		},
		"sensor-stuck.say": {
			En: "{rocket} pressure sensor stuck", De: "{rocket} Drucksensor hängt", Ja: "{rocket}、気圧センサが固まった",
			Kana: "{rocket}、きあつセンサがかたまった",
		},
		"sensor-stuck": {
			En: "{rocket} has sent the very same pressure ({pressure}) {times} times in {within}; a working sensor always trembles. Its apogee rule is blind. Switch it off and on, then look at the sensor's solder joints and its hole.",
			De: "{rocket} hat {times} mal in {within} genau denselben Druck gesendet ({pressure}); ein Sensor, der arbeitet, zittert immer. Die Gipfelerkennung ist blind. Aus- und einschalten, dann Lötstellen und Loch des Sensors ansehen.",
			Ja: "{rocket}は{within}に{times}回、まったく同じ気圧（{pressure}）を送りました。正常なセンサは必ず揺らぎます。頂点検出は働きません。電源を入れ直し、センサのはんだ付けと穴を確認してください。",
		},
		"sensors-apart.say": {
			En: "{rocket} barometers disagree", De: "{rocket} Drucksensoren uneins", Ja: "{rocket}、二つの気圧センサが食い違う",
			Kana: "{rocket}、ふたつのきあつセンサがくいちがう",
		},
		"sensors-apart": {
			En: "The two barometers of {rocket} do not agree; {which} is left out, as it stands still or has left the course of both. If neither stands still, nobody can tell which is right. Look at both sensors' solder joints and holes.",
			De: "Die zwei Drucksensoren von {rocket} sind sich nicht einig; {which} zählt nicht mit, weil er stillsteht oder vom gemeinsamen Verlauf abgewichen ist. Steht keiner still, so weiß niemand, welcher stimmt. Lötstellen und Löcher beider Sensoren ansehen.",
			Ja: "{rocket}の二つの気圧センサが一致しません。{which}は動かないか、二つの推移から外れたため使っていません。どちらも動いている場合は、どちらが正しいか分かりません。両方のはんだ付けと穴を確認してください。",
		},
		"sensor-noisy.say": {
			En: "{rocket} pressure noisy", De: "{rocket} Luftdruck verrauscht", Ja: "{rocket}、気圧の雑音が大きい",
			Kana: "{rocket}、きあつのざつおんがおおきい",
		},
		"sensor-noisy": {
			En: "{rocket}'s pressure trembles by {noise} rms on the pad, as if it moved by {moved} ({limit} is the limit). The apogee will be called late or wrong. Shade the sensor from light and wind, use more oversampling, keep it away from the servo's wires.",
			De: "Der Luftdruck von {rocket} zittert am Startplatz um {noise} rms, als ob sie sich um {moved} bewegte (Grenze {limit}). Der Gipfel wird zu spät oder falsch gemeldet. Sensor vor Licht und Wind schützen, mehr mitteln, von den Servokabeln fernhalten.",
			Ja: "{rocket}の気圧が発射台で{noise} rms揺れています。{moved}動いたのと同じです（限度{limit}）。頂点の検出が遅れるか誤ります。センサを光と風から守り、平均回数を増やし、サーボの配線から離してください。",
		},
		"sensor-drift.say": {
			En: "{rocket} pressure drifts on the pad", De: "{rocket} Luftdruck wandert am Startplatz", Ja: "{rocket}、発射台で気圧がずれる",
			Kana: "{rocket}、はっしゃだいできあつがずれる",
		},
		"sensor-drift": {
			En: "{rocket}'s height wandered by {moved} within {within} while it stood on the pad ({limit} is the limit). The sensor warms up, stands in the sun, or its case is blown up by the fill. Wait until it is steady, or give it shade and a hole.",
			De: "Die Höhe von {rocket} ist in {within} um {moved} gewandert, während sie am Startplatz stand (Grenze {limit}). Der Sensor wird warm, steht in der Sonne, oder die Füllung bläht sein Gehäuse. Warten, bis sie ruhig ist, oder für Schatten und ein Loch sorgen.",
			Ja: "{rocket}は発射台にあるのに、高さが{within}で{moved}ずれました（限度{limit}）。センサが温まっているか、日なたにあるか、加圧でケースが膨らんでいます。落ち着くまで待つか、日陰と穴を用意してください。",
		},
		"sensor-coarse.say": {
			En: "{rocket} pressure in coarse steps", De: "{rocket} Luftdruck in groben Stufen", Ja: "{rocket}、気圧の刻みが粗い",
			Kana: "{rocket}、きあつのきざみがあらい",
		},
		"sensor-coarse": {
			En: "{rocket}'s pressure comes in steps of {step}, which is {height} of height; the apogee may be called as late as it takes to fall through two of them. Send more digits: the layout or the board rounds.",
			De: "Der Luftdruck von {rocket} kommt in Stufen von {step}, das sind {height} Höhe; der Gipfel wird erst gemeldet, wenn zwei davon durchfallen sind. Mehr Stellen senden: das Layout oder die Elektronik rundet.",
			Ja: "{rocket}の気圧は{step}刻みで、高さにして{height}です。二刻み落ちるまで頂点の検出が遅れることがあります。桁数を増やしてください。レイアウトか基板で丸められています。",
		},
		"servo-range.say": {
			En: "{rocket} servo pulse out of range", De: "{rocket} Servopuls außerhalb der Grenzen", Ja: "{rocket}、サーボのパルスが範囲外",
			Kana: "{rocket}、サーボのパルスがはんいがい",
		},
		"servo-range": {
			En: "{rocket} drives its servo with {pulse}; it must stay between {low#} and {high}. Beyond its stop a servo stalls, heats up, and empties the cell. Correct the pulses in the firmware, or release_min_us and release_max_us if the servo allows more.",
			De: "{rocket} treibt den Servo mit {pulse}; erlaubt sind {low#} bis {high}. Am Anschlag blockiert ein Servo, wird heiß und leert die Zelle. Die Pulse in der Firmware berichtigen, oder release_min_us und release_max_us, wenn der Servo mehr erlaubt.",
			Ja: "{rocket}のサーボのパルスは{pulse}ですが、{low#}から{high}でなければなりません。限界を超えるとサーボが止まって発熱し、電池を消耗します。ファームウェアのパルスを直すか、サーボが許すなら release_min_us と release_max_us を変えてください。",
		},
		"servo-moving.say.open": {
			En: "{rocket} release is open on the pad", De: "{rocket} Auswurf ist am Startplatz offen", Ja: "{rocket}、発射台で放出装置が開いている",
			Kana: "{rocket}、はっしゃだいでほうしゅつそうちがひらいている",
		},
		"servo-moving.open": {
			En: "{rocket}'s release stands open on the pad (pulse {pulse}). Do not launch. Close it, pack the parachute again, and find out what commanded it.",
			De: "Der Auswurf von {rocket} steht am Startplatz offen (Puls {pulse}). Nicht starten. Schließen, den Fallschirm neu packen und herausfinden, was ihn geöffnet hat.",
			Ja: "{rocket}の放出装置が発射台で開いています（パルス{pulse}）。発射しないでください。閉じてパラシュートを詰め直し、何が開かせたか調べてください。",
		},
		"servo-moving.say": {
			En: "{rocket} servo moves on the pad", De: "{rocket} Servo bewegt sich am Startplatz", Ja: "{rocket}、発射台でサーボが動く",
			Kana: "{rocket}、はっしゃだいでサーボがうごく",
		},
		"servo-moving": {
			En: "{rocket}'s release servo went from {from#} to {to} while the rocket waits on the pad. If nobody is testing it, do not launch: look for a loose signal wire, a weak cell, or an apogee rule that fires in gusts.",
			De: "Der Auswurfservo von {rocket} ging von {from#} auf {to}, während die Rakete am Startplatz wartet. Wenn niemand ihn prüft: nicht starten; nach lockerem Signaldraht, schwacher Zelle oder einer Gipfelerkennung suchen, die in Böen auslöst.",
			Ja: "発射台で待機中の{rocket}の放出サーボが{from#}から{to}に動きました。誰もテストしていないなら発射しないでください。信号線の緩み、弱い電池、突風で働く頂点検出を調べてください。",
		},

		"pad.unknown": {
			En: "not configured and not heard yet", De: "nicht eingetragen und noch nicht gehört", Ja: "未登録で、まだ受信していません",
		},
		"pad.unheard": {
			En: "not heard yet: switch the board on, check channel and id",
			De: "noch nicht gehört: Elektronik einschalten, Kanal und Kennung prüfen",
			Ja: "まだ受信していません：基板の電源、チャンネル、IDを確認",
		},
		"pad.flying": {En: "in flight", De: "im Flug", Ja: "飛行中"},
		"pad.landed": {
			En: "landed: fetch it, switch it off and make it ready again",
			De: "gelandet: holen, ausschalten und neu vorbereiten",
			Ja: "着地済み：回収し、電源を切り、再準備",
		},
		"pad.quiet": {
			En: "not heard for {quiet}", De: "seit {quiet} nicht gehört", Ja: "{quiet}受信なし",
		},
		"pad.guest": {
			En: "nobody has configured a rocket called {rocket}: add a [[rocket]] with its id, mass and parachute",
			De: "niemand hat eine Rakete namens {rocket} eingetragen: eine [[rocket]] mit Kennung, Masse und Fallschirm hinzufügen",
			Ja: "{rocket}というロケットは未登録です：ID・質量・パラシュートを [[rocket]] に追加",
		},
		"pad.learning": {
			En: "learning the pad's level: {left} more at rest", De: "lernt die Höhe des Startplatzes: noch {left} in Ruhe", Ja: "発射台の基準高さを測定中：あと{left}静止",
		},
		"pad.no-pressure": {
			En: "no pressure heard: its layout has no pressure_pa, or the sensor is missing",
			De: "kein Luftdruck gehört: im Layout fehlt pressure_pa, oder der Sensor fehlt",
			Ja: "気圧がありません：レイアウトに pressure_pa がないか、センサがありません",
		},
		"pad.not-armed": {
			En: "not armed: throw the arming switch last, with everybody behind the line",
			De: "nicht scharf: zuletzt scharf schalten, wenn alle hinter der Linie sind",
			Ja: "作動準備なし：全員が線の後ろに下がってから、最後にスイッチを入れる",
		},
	}
}
