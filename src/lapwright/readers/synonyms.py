"""The spellings of channel names that are usual in the trade, as data.

A name is compared after case, blanks, dots, dashes and underscores are taken
out, so ``Brake Pressure``, ``brake_pressure`` and ``BrakePressure`` are one.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from lapwright.names import GLOSSARY

_WHEELS: Final = {
    "front_left": "fl lf frontleft leftfront vl",
    "front_right": "fr rf frontright rightfront vr",
    "rear_left": "rl lr rearleft leftrear hl",
    "rear_right": "rr rearright rightrear hr",
}

_SPELLINGS: Final[dict[str, str]] = {
    "time": "t time timestamp timestamps elapsedtime elapsed sessiontime logtime recordtime "
    "relativetime timerelative timeelapsed clock zeit seconds secs",
    "utc": "utc utctime timeutc gpstime gnsstime gpsutc datetime utcdatetime epoch unixtime "
    "unixtimestamp epochtime date-time timestamputc posixtime",
    "latitude": "lat latitude gpslat gpslatitude gnsslat gnsslatitude latitudegps latgps "
    "positionlat poslat breitengrad",
    "longitude": "lon long lng longitude gpslon gpslong gpslng gpslongitude gnsslon gnsslong "
    "gnsslongitude longitudegps longps positionlon positionlong poslon poslong laengengrad",
    "altitude": "alt altitude gpsalt gpsaltitude gnssalt gnssaltitude altitudegps elevation ele "
    "heightmsl gpsheight",
    "x": "x posx xpos positionx xposition east easting localx xm worldx",
    "y": "y posy ypos positiony yposition north northing localy ym worldy",
    "z": "z posz zpos positionz zposition up localz height zm worldz",
    "distance": "distance dist odometer odo lapdistance distancedriven drivendistance "
    "totaldistance travel",
    "lap_share": "lapshare lapfraction lapprogress lapproportion",
    "heading": "heading yaw yawangle psi phi course cog courseoverground gpsheading gpscourse "
    "gnssheading gnsscourse bearing trackangle trueheading direction azimuth headingangle",
    "speed": "speed velocity vehiclespeed carspeed groundspeed speedoverground sog gpsspeed "
    "gnssspeed speedgps speedgnss v vel vcar vveh vehspeed gpsvelocity geschwindigkeit vgps "
    "vehiclevelocity absolutespeed",
    "velocity_forward": "vx velocityx velx vlong longitudinalvelocity velocitylongitudinal "
    "forwardvelocity velocityforward vforward vlon bodyvx vxbody",
    "velocity_left": "vy velocityy vely vlat lateralvelocity velocitylateral leftvelocity "
    "velocityleft bodyvy vybody",
    "acceleration_forward": "ax accx accelx accelerationx xacc xaccel accelerationforward along "
    "longacc longaccel longitudinalacceleration longitudinalaccel accelerationlongitudinal "
    "acclong accellong acclongitudinal longitudinalacc glong longg longitudinalg "
    "forwardacceleration imuaccx imuax",
    "acceleration_left": "ay accy accely accelerationy yacc yaccel accelerationleft alat "
    "latacc lataccel lateralacceleration lateralaccel accelerationlateral acclat accellat "
    "acclateral lateralacc glat latg lateralg imuaccy imuay",
    "acceleration_up": "az accz accelz accelerationz zacc zaccel accelerationup avert vertacc "
    "vertaccel verticalacceleration verticalaccel accelerationvertical accvert accelvert "
    "gvert vertg verticalg imuaccz imuaz",
    "yaw_rate": "yawrate yawspeed yawvelocity yawangularvelocity gyroz gyroyaw ratez omega "
    "omegaz wz psidot yawdot dyaw angularvelocityz angvelz rotz imugyroz imuyawrate heading_rate "
    "headingrate zgyro rategyroz",
    "roll": "roll rollangle",
    "pitch": "pitch pitchangle",
    "steering": "steering steer steeringangle steerangle steeringwheelangle steeringwheel "
    "handwheelangle handwheel steeringposition steeringpos swa steerwheelangle steeringinput "
    "steeringwheelposition lenkwinkel",
    "road_wheel_angle": "roadwheelangle delta roadwheelsteeringangle frontwheelangle "
    "wheelsteerangle frontwheelsteeringangle steeredangle",
    "throttle": "throttle throttlepedal throttleposition throttlepos tps throttlepedalposition "
    "acceleratorpedal acceleratorpedalposition accelerator acceleratorposition gas gaspedal "
    "pedalthrottle throttlepedcmd throttlecmd throttlepedalcmd throttleinput throttlecommand "
    "pedalposition gaspedalposition",
    "brake": "brake brakepedal brakeposition brakepos brakepedalposition pedalbrake brakepedcmd "
    "brakecmd brakepedalcmd brakeinput brakecommand brakeswitch bremse",
    "brake_pressure": "brakepressure brakepress brakepres pbrake brakep pbrakef pbrakefront "
    "brakepressurefront brakepressfront brakepressf frontbrakepressure brakepressuref "
    "brakepfront brakelinepressure brakecircuitpressure mastercylinderpressure",
    "gear": "gear gearposition gearpos gearnumber currentgear engagedgear gearno selectedgear gang",
    "engine_speed": "enginespeed rpm enginerpm revs nengine nmot engine motorspeed motorrpm "
    "crankspeed enginerevs drehzahl enginespd",
    "lap": "lap lapnumber lapno lapcount lapcounter lapindex currentlap lapnum runde laps",
    "fuel_mass": "fuelmass fuelweight fuelkg fuel",
}

_PUNCTUATION = re.compile(r"[\s._\-:/#]+")


def _key(text: str) -> str:
    return _PUNCTUATION.sub("", unicodedata.normalize("NFKC", text)).casefold()


#: Names that say their own unit.
_IMPLIED: Final = {
    "1/min": "rpm enginerpm motorrpm",
    "g": "latg lateralg glat longg longitudinalg glong vertg verticalg gvert",
    "s": "seconds secs",
}
_IMPLIED_UNIT: Final = {word: unit for unit, words in _IMPLIED.items() for word in words.split()}


def _build_table() -> dict[str, str]:
    table = {_key(word): name for name, text in _SPELLINGS.items() for word in text.split()}
    for corner, shorts in _WHEELS.items():
        name = f"wheel_speed_{corner}"
        for short in shorts.split():
            for stem in ("wheelspeed", "wheel", "ws", "wspd", "wheelspd", "vwheel", "wheelvel"):
                table[stem + short] = name
                table[short + stem] = name
            table["speed" + short] = name
    return table | {_key(name): name for name in GLOSSARY}


_TABLE: Final = _build_table()


def find_channel(name: str) -> str | None:
    """Find the canonical name of a column; None when the spelling is not known.

    Examples
    --------
    >>> find_channel("Lateral Acc")
    'acceleration_left'
    """
    return _TABLE.get(_key(name))


def find_implied_unit(name: str) -> str | None:
    """Find the unit that a column's name says by itself, such as ``rpm``."""
    return _IMPLIED_UNIT.get(_key(name))
