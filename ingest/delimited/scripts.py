"""Words of column names in other scripts, spelled so that the rest of the reader knows them.

Chinese, Japanese and Russian headings of battery testers and loggers: common practice, no source.
"""

from __future__ import annotations

import re
from typing import Final

_WORDS: Final = {
    "voltage": "电压 電壓 電圧 напряжение",
    "current": "电流 電流 ток",
    "temperature": "温度 溫度 температура",
    "time": "时间 時間 时刻 время",
    "date": "日期 日付 дата",
    "capacity": "容量 ёмкость емкость",
    "energy": "能量 энергия",
    "power": "功率 電力 мощность",
    "speed": "转速 回転数 скорость обороты",
    "torque": "扭矩 转矩 トルク момент",
    "resistance": "内阻 电阻 抵抗 сопротивление",
    "battery": "电池 電池 батарея аккумулятор",
    "cell": "单体 电芯 セル ячейка",
    "motor": "电机 モータ двигатель",
    "discharge": "放电 放電 разряд",
    "charge": "充电 充電 заряд",
    "rest": "静置 休止 搁置 пауза",
    "state": "状态 狀態 状態 состояние",
    "step": "工步 ステップ шаг",
    "cycle": "循环 サイクル цикл",
    "index": "序号 编号 記録番号 номер",
}
_SPELLED: Final = {word: english for english, words in _WORDS.items() for word in words.split()}
_ANY: Final = re.compile("|".join(sorted(_SPELLED, key=len, reverse=True)), re.IGNORECASE)
_LATIN: Final = re.compile(r"[\x00-\u036f\u2000-\u22ff]*")
_NARROW: Final = {ord("（"): "(", ord("）"): ")", ord("／"): "/", ord("℃"): "°C", ord("："): ":"}


def spelled(name: str) -> str:
    """The name with its words in other scripts put into English; any other name as it is."""
    if _LATIN.fullmatch(name):
        return name
    return _ANY.sub(lambda found: f" {_SPELLED[found[0].lower()]} ", name.translate(_NARROW))


def is_han(text: str) -> bool:
    """Whether a text beyond ASCII is made of Han characters and their marks, words that are known here among them."""
    beyond = [c for c in text if not c.isascii()]
    signs = sum("\u3000" <= c <= "\u9fff" or "\uff00" <= c <= "\uffef" or c in "℃°±μΩ·×Δ" for c in beyond)
    return bool(beyond) and signs == len(beyond) and _ANY.search(text) is not None
