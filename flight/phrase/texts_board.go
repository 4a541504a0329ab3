package phrase

// boardAlarms are the texts of what is told of a board's supply, its radio and its
// clock, and of the station itself.
func boardAlarms() map[string]Text {
	return map[string]Text{
		"losses.say": {
			En: "{rocket} many frames lost", De: "{rocket} viele Meldungen verloren", Ja: "{rocket}、受信抜けが多い",
		},
		"losses": {
			En: "{share} of {rocket}'s frames of the last {within} were lost on link {link}. Heights and warnings come late. Turn the antenna, raise it above people's heads, go nearer, or send fewer and shorter frames.",
			De: "{share} der Meldungen von {rocket} aus den letzten {within} gingen auf {link} verloren. Höhen und Warnungen kommen spät. Antenne drehen, über die Köpfe heben, näher herangehen, oder weniger und kürzere Meldungen senden.",
			Ja: "回線{link}で、{rocket}の直近{within}のフレームの{share}が失われました。高さや警告が遅れます。アンテナの向きを変える、頭より高く上げる、近づく、または送信を減らし短くしてください。",
		},
		"weak-signal.say": {
			En: "{rocket} signal weak", De: "{rocket} Signal schwach", Ja: "{rocket}、信号が弱い",
		},
		"weak-signal": {
			En: "{rocket} is heard with {signal} on link {link}; below {limit} frames get lost. Check both antennas and their plugs, turn the antenna upright, go nearer.",
			De: "{rocket} ist auf {link} mit {signal} zu hören; unter {limit} gehen Meldungen verloren. Beide Antennen und ihre Stecker prüfen, Antenne aufrecht stellen, näher herangehen.",
			Ja: "回線{link}で{rocket}の信号は{signal}です。{limit}を下回ると受信抜けが出ます。両方のアンテナとコネクタを確認し、アンテナを立て、近づいてください。",
		},
		"collision.say": {
			En: "{rocket} and {other} send over each other", De: "{rocket} und {other} senden übereinander", Ja: "{rocket}と{other}の送信が衝突",
			Kana: "{rocket}と{other}のそうしんがしょうとつ",
		},
		"collision": {
			En: "{rocket} loses {mine} and {other} {theirs} of their frames on link {link}, though neither signal is weak: they send over each other. Give them different channels, or send at different moments. Fly one at a time until then.",
			De: "{rocket} verliert {mine} und {other} {theirs} der Meldungen auf {link}, obwohl keines der Signale schwach ist: sie senden übereinander. Verschiedene Kanäle geben oder zu verschiedenen Zeiten senden. Bis dahin nur eine zugleich fliegen.",
			Ja: "回線{link}で{rocket}は{mine}、{other}は{theirs}のフレームを失っています。信号はどちらも弱くないので、送信が重なっています。チャンネルを分けるか、時間をずらしてください。それまでは一機ずつ飛ばしてください。",
		},
		"duplicate-id.say": {
			En: "two boards call themselves {rocket}", De: "zwei Sender nennen sich {rocket}", Ja: "二つの基板が{rocket}を名乗る",
			Kana: "ふたつのきばんが{rocket}をなのる",
		},
		"duplicate-id.apart": {
			En: "Two senders use {rocket}'s id{id} at the same time. Both are watched and recorded, each under a name of its own; the warning of either may be the true one. Switch one of them off and give it another id.",
			De: "Zwei Sender benutzen zugleich die Kennung{id} von {rocket}. Beide werden beobachtet und aufgezeichnet, jeder unter eigenem Namen; die Warnung von jedem kann die richtige sein. Einen ausschalten und ihm eine andere Kennung geben.",
			Ja: "二つの送信機が同時に{rocket}のID{id}を使っています。どちらも別の名前で監視・記録しています。どちらの警告も本物かもしれません。片方の電源を切り、別のIDにしてください。",
		},
		"duplicate-id": {
			En: "Frames of {rocket} come from two boards with one id{id}: {sign}. Heights and warnings of {rocket} cannot be trusted. Switch one of them off and give it another id.",
			De: "Meldungen von {rocket} kommen von zwei Sendern mit derselben Kennung{id}: {sign}. Höhen und Warnungen von {rocket} sind nicht zu trauen. Einen ausschalten und ihm eine andere Kennung geben.",
			Ja: "{rocket}のフレームが同じID{id}の二つの基板から来ています：{sign}。{rocket}の高さと警告は信用できません。片方の電源を切り、別のIDにしてください。",
		},
		"duplicate-id.numbers": {
			En: "the same numbers come twice with different clocks",
			De: "dieselben Nummern kommen zweimal mit verschiedenen Uhren",
			Ja: "同じ番号が異なる時計で二度届きます",
		},
		"duplicate-id.clocks": {
			En: "their clocks are {apart} apart and take turns", De: "ihre Uhren liegen {apart} auseinander und wechseln sich ab", Ja: "{apart}離れた二つの時計が交互に現れます",
		},
		"clock-jump.say": {
			En: "{rocket} clock jumped", De: "{rocket} Uhr gesprungen", Ja: "{rocket}、時計が飛んだ",
		},
		"clock-jump": {
			En: "The clock of {rocket}'s board jumped {way} by {by}{flying} without a new start. Times of this flight are less certain, and a backup timer in the board may fire at the wrong moment. Look for a blocked loop or a counter that wraps.",
			De: "Die Uhr von {rocket} sprang{flying} um {by} {way}, ohne Neustart. Die Zeiten dieses Flugs sind weniger sicher, und ein Zeitgeber für den Auswurf kann falsch auslösen. Nach einer blockierten Schleife oder einem überlaufenden Zähler suchen.",
			Ja: "{rocket}の基板の時計が{flying}、再起動なしに{by}{way}飛びました。この飛行の時刻は不確かで、基板の予備タイマーが誤った時に働くかもしれません。止まったループかカウンタの桁あふれを調べてください。",
		},
		"clock-jump.forward": {En: "forward", De: "vor", Ja: "先へ"},
		"clock-jump.back":    {En: "back", De: "zurück", Ja: "前へ"},
		"clock-jump.flying":  {En: " in flight", De: " im Flug", Ja: "飛行中"},
		"rate-wrong.say": {
			En: "{rocket} sends at the wrong rate", De: "{rocket} sendet mit falscher Rate", Ja: "{rocket}、送信頻度が違う",
			Kana: "{rocket}、そうしんひんどがちがう",
		},
		"rate-wrong": {
			En: "{rocket}'s board makes {rate} frames a second by its own clock; {want} are configured. Its loop may be blocked by a slow sensor or radio, so its apogee rule runs late too. Mend the firmware, or set rate_hz to what is meant.",
			De: "Die Elektronik von {rocket} sendet nach eigener Uhr {rate} Meldungen je Sekunde; eingetragen sind {want}. Ein langsamer Sensor oder Funk bremst sie vielleicht, dann kommt auch die Gipfelerkennung zu spät. Die Firmware berichtigen oder rate_hz anpassen.",
			Ja: "{rocket}の基板は自身の時計で毎秒{rate}フレームですが、設定は{want}です。遅いセンサや無線でループが止まり、頂点検出も遅れているかもしれません。ファームウェアを直すか、rate_hz を合わせてください。",
		},
		"cell-low.say": {
			En: "{rocket} cell low", De: "{rocket} Zelle schwach", Ja: "{rocket}、電池が少ない",
			Kana: "{rocket}、でんちがすくない",
		},
		"cell-low": {
			En: "{rocket}'s supply rests at {volts}; a {supply} below {low} may not move the servo. Charge or change it before flying.",
			De: "Die Versorgung von {rocket} hat in Ruhe {volts}; {supply} unter {low} bewegt den Servo vielleicht nicht. Vor dem Flug laden oder tauschen.",
			Ja: "{rocket}の電源は無負荷で{volts}です。{supply}は{low}を下回るとサーボが動かないことがあります。飛ばす前に充電か交換をしてください。",
		},
		"wrong-supply.say": {
			En: "{rocket} supply is not the one configured", De: "{rocket} Versorgung ist nicht die eingetragene", Ja: "{rocket}、電源が設定と違う",
			Kana: "{rocket}、でんげんがせっていとちがう",
		},
		"wrong-supply.none": {
			En: "{rocket} tells {volts} for its supply, which no working {supply} has. The divider is not connected or its scale is wrong; mend it, or the warnings about the supply are blind.",
			De: "{rocket} meldet {volts} Versorgung; das hat {supply} nie, wenn sie in Ordnung ist. Der Spannungsteiler ist nicht verbunden oder falsch skaliert; berichtigen, sonst sind die Warnungen zur Versorgung blind.",
			Ja: "{rocket}の電源は{volts}と通知されましたが、正常な{supply}ではありえません。分圧器が未接続か倍率が誤りです。直さないと電源の警告が働きません。",
		},
		"wrong-supply.nine": {
			En: "{rocket} tells {volts}, but a {supply} has {full} at most. If this is a 9 V battery, do not fly: it cannot drive the release servo. Use the 3.7 V lithium cell.",
			De: "{rocket} meldet {volts}, aber {supply} hat höchstens {full}. Ist es eine 9-V-Batterie: nicht fliegen, sie kann den Auswurfservo nicht treiben. Die 3,7-V-Lithiumzelle nehmen.",
			Ja: "{rocket}は{volts}ですが、{supply}は最大{full}です。9 V電池なら飛ばさないでください。放出サーボを動かせません。3.7 Vのリチウム電池を使ってください。",
		},
		"wrong-supply": {
			En: "{rocket} tells {volts}, but a {supply} has {full} at most. Check what is plugged in and the scale of the reading.",
			De: "{rocket} meldet {volts}, aber {supply} hat höchstens {full}. Prüfen, was angesteckt ist, und die Skalierung der Messung.",
			Ja: "{rocket}は{volts}ですが、{supply}は最大{full}です。つないだ電源と測定の倍率を確認してください。",
		},
		"cell-sag.say": {
			En: "{rocket} cell sags under the servo", De: "{rocket} Zelle bricht unter dem Servo ein", Ja: "{rocket}、サーボで電圧が落ちる",
			Kana: "{rocket}、サーボででんあつがおちる",
		},
		"cell-sag.slow": {
			En: "{rocket}'s supply is still {depth} below its rest ({rest}) more than 1.5 s after the servo moved. It is tired, cold or the servo is blocked. Change the cell, and move the servo by hand to feel whether it binds.",
			De: "Die Versorgung von {rocket} ist über 1,5 s nach der Servobewegung noch {depth} unter Ruhe ({rest}). Sie ist müde, kalt, oder der Servo klemmt. Die Zelle tauschen und den Servo von Hand bewegen, um zu fühlen, ob er klemmt.",
			Ja: "{rocket}の電源は、サーボ動作から1.5 sたっても無負荷時（{rest}）より{depth}低いままです。電池が古いか冷えているか、サーボが詰まっています。電池を換え、サーボを手で動かして引っかかりを確かめてください。",
		},
		"cell-sag": {
			En: "{rocket}'s supply dipped by {depth} to {lowest} under load (at most {limit} is well). At its lowest fit charge ({low}) the same dip would reach {then}; {so}. Use a cell with more current, thicker wires, or a capacitor of 470 uF or more at the servo.",
			De: "Die Versorgung von {rocket} brach unter Last um {depth} auf {lowest} ein (gut ist höchstens {limit}). Bei der geringsten tauglichen Ladung ({low}) wären es {then}; {so}. Eine Zelle mit mehr Strom, dickere Drähte oder einen Kondensator ab 470 uF am Servo nehmen.",
			Ja: "{rocket}の電源が負荷で{depth}下がり{lowest}になりました（{limit}以内なら良好）。使用下限の充電（{low}）では{then}になります。{so}。電流の大きい電池、太い配線、またはサーボに470 uF以上のコンデンサを使ってください。",
		},
		"cell-sag.restart": {
			En: "below about {cutoff} boards start again, and the release is lost",
			De: "unter etwa {cutoff} startet die Elektronik neu, und der Auswurf fällt aus",
			Ja: "約{cutoff}を下回ると基板が再起動し、放出できません",
		},
		"cell-sag.little": {
			En: "little is left for a cold day", De: "für einen kalten Tag bleibt wenig", Ja: "寒い日には余裕がほとんどありません",
		},

		"disk-full.say": {
			En: "Disk full, not recording", De: "Speicher voll, keine Aufzeichnung", Ja: "ディスク満杯、記録停止",
			Kana: "ディスクまんぱい、きろくていし",
		},
		"disk-full": {
			En: "Nothing is archived: {free} are free in {folder}, and the last {reserve} are kept for the journal. Make room: move old files or recordings away. Archiving goes on by itself with what the journal has.",
			De: "Nichts wird archiviert: {free} sind in {folder} frei, und die letzten {reserve} bleiben dem Journal. Platz schaffen: alte Dateien oder Aufzeichnungen wegräumen. Danach geht es mit dem, was das Journal hat, von selbst weiter.",
			Ja: "アーカイブに保存していません：{folder}の空きは{free}で、最後の{reserve}はジャーナル用です。古いファイルや記録を移して空きを作ってください。その後は自動で再開します。",
		},
		"disk-full.again": {
			En: "Recording again", De: "Aufzeichnung läuft wieder", Ja: "記録を再開",
		},
		"disk-full.gone.say": {
			En: "Recorded files were removed", De: "Aufgezeichnete Dateien wurden entfernt", Ja: "記録ファイルが消された",
			Kana: "きろくファイルがけされた",
		},
		"disk-full.gone": {
			En: "Somebody has removed files of the running session from {folder}. Its journal is written anew from memory. Do not remove anything there while padlark runs.",
			De: "Jemand hat Dateien der laufenden Sitzung aus {folder} entfernt. Das Journal wird aus dem Speicher neu geschrieben. Dort nichts entfernen, solange padlark läuft.",
			Ja: "{folder}から実行中のセッションのファイルが消されました。ジャーナルはメモリから書き直します。padlark の実行中は何も消さないでください。",
		},
		"disk-full.archive": {
			En: "Somebody has removed the archive {file} while it was in use. The journal goes on, and rockets are watched. Start padlark again when nothing flies: it makes the archive anew from the journals.",
			De: "Jemand hat das Archiv {file} entfernt, während es benutzt wurde. Das Journal läuft weiter, und die Raketen werden beobachtet. Padlark neu starten, wenn nichts fliegt: es baut das Archiv aus den Journalen neu.",
			Ja: "使用中のアーカイブ{file}が消されました。ジャーナルは続き、ロケットの監視も続きます。何も飛んでいない時に padlark を再起動すると、ジャーナルからアーカイブを作り直します。",
		},
		"disk-full.damaged.say": {
			En: "The archive is damaged", De: "Das Archiv ist beschädigt", Ja: "アーカイブが壊れた",
			Kana: "アーカイブがこわれた",
		},
		"disk-full.damaged": {
			En: "The archive {file} is damaged, and nothing more goes into it. The journal goes on, and rockets are watched. Start padlark again when nothing flies: it sets the archive aside and makes a new one from the journals.",
			De: "Das Archiv {file} ist beschädigt, und nichts kommt mehr hinein. Das Journal läuft weiter, und die Raketen werden beobachtet. Padlark neu starten, wenn nichts fliegt: es legt das Archiv beiseite und baut ein neues aus den Journalen.",
			Ja: "アーカイブ{file}が壊れていて、もう保存できません。ジャーナルは続き、ロケットの監視も続きます。何も飛んでいない時に padlark を再起動すると、古いものを残したままジャーナルから作り直します。",
		},
		"server-away.say": {
			En: "The time-series server takes no data", De: "Der Zeitreihen-Server nimmt keine Daten an", Ja: "時系列サーバがデータを受け付けない",
		},
		"server-away": {
			En: "{url}: {error}. Nothing is lost: it is sent when the server takes data again. {mend}",
			De: "{url}: {error}. Nichts geht verloren: es wird gesendet, sobald der Server wieder Daten annimmt. {mend}",
			Ja: "{url}：{error}。失われたものはありません。サーバが戻れば送ります。{mend}",
		},
		"server-away.folder": {
			En: "Check that the station's folder can be written.",
			De: "Prüfen, ob in den Ordner der Station geschrieben werden kann.",
			Ja: "局のフォルダに書き込めるか確認してください。",
		},
		"server-away.token": {
			En: "Check the token: token_file or token_env of [storage.influx].",
			De: "Das Token prüfen: token_file oder token_env von [storage.influx].",
			Ja: "トークンを確認：[storage.influx] の token_file か token_env。",
		},
		"server-away.bucket": {
			En: "Check org and bucket of [storage.influx], and that the bucket exists on the server.",
			De: "org und bucket von [storage.influx] prüfen, und ob es den Bucket auf dem Server gibt.",
			Ja: "[storage.influx] の org と bucket、サーバにバケットがあるかを確認してください。",
		},
		"server-away.refused": {
			En: "Check url, org and bucket of [storage.influx]: the server refuses everything.",
			De: "url, org und bucket von [storage.influx] prüfen: der Server lehnt alles ab.",
			Ja: "[storage.influx] の url・org・bucket を確認：サーバがすべて拒否しています。",
		},
		"server-away.network": {
			En: "Check the server and the network when there is time; the board does not need them.",
			De: "Server und Netz prüfen, wenn Zeit ist; die Tafel braucht sie nicht.",
			Ja: "時間のある時にサーバとネットワークを確認してください。表示盤には必要ありません。",
		},
		"server-aside.say": {
			En: "The time-series server refused some data", De: "Der Zeitreihen-Server hat Daten abgelehnt", Ja: "時系列サーバが一部のデータを拒否",
		},
		"server-aside": {
			En: "{url} refused {count} points for good; they are in {file} with the reason above each. The archive has them all.",
			De: "{url} hat {count} Punkte endgültig abgelehnt; sie stehen mit dem Grund in {file}. Das Archiv hat sie alle.",
			Ja: "{url}が{count}点を最終的に拒否しました。理由とともに{file}にあります。アーカイブには全部あります。",
		},
	}
}
