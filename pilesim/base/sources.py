"""Bibliography: every number in the constants registry names one of these keys."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Source:
    """A published source, or an honest statement that there is none."""

    key: str
    text: str
    erratum: str = ""


_ALL = (
    Source("CODATA2018", "CODATA recommended values of the fundamental physical constants, 2018"),
    Source("USSA1976", "U.S. Standard Atmosphere, 1976; the closed form with 2.25577e-5 and 5.25588 as used in "
           "handbooks of moist air"),
    Source("IUPAC", "IUPAC standard atomic weights, abridged; dry air as in the standard atmosphere"),
    Source("Huang2018", "Huang, J. (2018), A simple accurate formula for calculating saturation vapor pressure of "
           "water and ice, J. Appl. Meteorol. Climatol. 57, 1265-1272; coefficients recalled from memory, "
           "checked here against CoolProp and psychrolib"),
    Source("IAPWS95", "IAPWS formulation 1995 for ordinary water, as evaluated by CoolProp"),
    Source("ASHRAE", "ASHRAE Handbook Fundamentals, chapter Psychrometrics, as implemented by psychrolib"),
    Source("Sutherland", "Sutherland's law for the viscosity of air, coefficients of the U.S. Standard Atmosphere 1976"),
    Source("Wilke1950", "Wilke, C.R. (1950), A viscosity equation for gas mixtures, J. Chem. Phys. 18, 517"),
    Source("Glinski1985", "Glinski, J., Stepniewski, W. (1985), Soil Aeration and its Role for Plants; table of the "
           "oxygen diffusion coefficient in air"),
    Source("Monteith2013", "Monteith, J., Unsworth, M. (2013), Principles of Environmental Physics; exponent of "
           "temperature of gas diffusivities"),
    Source("Moldrup2000", "Moldrup, P. et al. (2000), water-induced linear reduction law of gas diffusivity in porous "
           "media, Soil Sci. Soc. Am. J. 64"),
    Source("deVries1963", "de Vries, D.A. (1963), Thermal properties of soils, in Physics of Plant Environment"),
    Source("Johansen1975", "Johansen, O. (1975), Thermal conductivity of soils, thesis, Trondheim; organic form with the "
           "Kersten number equal to saturation"),
    Source("Ahn2009", "Ahn, H.K., Sauer, T.J., Richard, T.L., Glanville, T.D. (2009), Determination of thermal "
           "properties of composting bulking materials, Bioresource Technology 100, 3974"),
    Source("vanGinkel1999", "van Ginkel, J.T. et al. (1999), physical properties of composting material: gas permeability, "
           "oxygen diffusion and thermal conductivity (air-filled porosity from phase densities)"),
    Source("Poulsen2007", "Poulsen, T.G., Moldrup, P. (2007), in Waste Management & Research, on the air permeability of "
           "sieved, repacked compost; the order of magnitude is recalled from memory"),
    Source("KozenyCarman", "Kozeny-Carman dependence of permeability on porosity; any text on flow in porous media"),
    Source("Das1997", "Das, K., Keener, H.M. (1997), Moisture effect on compaction and permeability in composts, "
           "J. Environ. Eng. 123, 275"),
    Source("MSWAnisotropy", "Experimental study on anisotropy of hydraulic conductivity for municipal solid waste (abstract "
           "read on an index page, authors and year TO CHECK): 1.26 at 50 kPa to 5.17 at 400 kPa, less when degraded; no "
           "measurement on composting mixes was found"),
    Source("Ernstson1993", "Ernstson, M.-L., Rasmuson, A. (1993), Field and laboratory measurements on a pile of chipped "
           "forest fuel, Fuel 72"),
    Source("Haug1993", "Haug, R.T. (1993), The Practical Handbook of Compost Engineering"),
    Source("Rosso1993", "Rosso, L., Lobry, J.R., Flandrois, J.P. (1993), An unexpected correlation between cardinal "
           "temperatures of microbial growth highlighted by a new model, J. Theor. Biol. 162, 447"),
    Source("Richard2006", "Richard, T.L., Walker, L.P., Gossett, J.M. (2006), Effects of oxygen on aerobic solid-state "
           "biodegradation kinetics, Biotechnol. Prog. 22"),
    Source("Nakasaki1996", "Nakasaki, K., Kataoka, M., Kuratomi, H., Effects of raising temperature in early stage of "
           "thermophilic composting on composting stimulation with various kinds of seeds, journal of the Japan society "
           "of waste management experts 7 (5), 225-233 (abstract read; year 1996 TO CHECK)"),
    Source("Kulikowska2015", "Kulikowska, D., Gusiatin, Z.M. (2015), Sewage sludge composting in a two-stage system, "
           "Waste Management 38, 312"),
    Source("Finstein", "Heat released per mass of oxygen used in composting, as collected by Haug (1993) after Finstein "
           "and Harper"),
    Source("McAdams1954", "McAdams, W.H. (1954), Heat Transmission, after Juerges: surface coefficient against wind"),
    Source("Watmuff1977", "Watmuff, J.H., Charters, W.W.S., Proctor, D. (1977), Solar and wind induced external coefficients "
           "for solar collectors, COMPLES 2; the law without radiation, recalled from memory"),
    Source("Incropera", "Any text on convective heat transfer: forced convection scales with density to the power 0.8"),
    Source("CFR503", "United States, 40 CFR Part 503, Appendix B: 55 degrees Celsius or higher for three days in a "
           "within-vessel or static aerated pile; the wording here is from a secondary copy"),
    Source("CFR503Equation", "United States, 40 CFR 503.32(a)(3), alternative 1, time and temperature, for sewage sludge; "
           "read in the re-enactment 15A NCAC 02T .1106, the federal page was not reached"),
    Source("Jiang2003", "Jiang, X., Morgan, J., Doyle, M.P. (2003), on the thermal inactivation of Escherichia coli O157:H7 "
           "in cow manure compost, J. Food Prot. 66 (10), 1771, doi 10.4315/0362-028X-66.10.1771 (abstract read)"),
    Source("Singh2010", "Singh, R., Jiang, X., Luo, F. (2010), on the thermal inactivation of heat-shocked Escherichia coli "
           "O157:H7 and Salmonella in dairy compost, J. Food Prot. 73 (9), 1633, doi 10.4315/0362-028X-73.9.1633 (abstract "
           "read)"),
    Source("Stoichiometry", "Oxidation balances of typical feedstock formulas; computed, exact for the formulas used"),
    Source("ExactMathematics", "Exact by definition or by mathematics"),
    Source("TaylorMidMonth", "Taylor, K.E., Williamson, D., Zwiers, F. (2000), The sea surface temperature and sea-ice "
           "concentration boundary conditions for AMIP II simulations, PCMDI Report 60 (recalled from memory, TO CHECK)"),
    Source("NRAES54", "Rynk, R., editor (1992), On-Farm Composting Handbook, NRAES-54, appendix A, typical "
           "characteristics of raw materials; recalled from memory or read in reprints, pages TO CHECK",
           erratum="nitrogen and C:N are averaged apart: their product can exceed the carbon that organic matter holds "
                   "(sawdust 0.24 % and 442 make 106 %)"),
    Source("MixBulletin", "How to Mix Composting Materials: Characteristics and Equations, technical bulletin that "
           "reprints the tables of NRAES-54; read in a web copy without date"),
    Source("MaterialsTable", "Characteristics of common composting materials, table 3 of an agricultural fact sheet, "
           "read on a web page that reproduces it; publisher TO CHECK",
           erratum="prints C:N 1.8 for beef feedlot manure with bedding; 18 is meant"),
    Source("Golueke1972", "Golueke, C.G. (1972), C/N ratio of various wastes, as table 3.1 of Polprasert, Organic "
           "Waste Recycling: Technology and Management (that table read in a web copy)"),
    Source("Gotaas1956", "Gotaas, H.B. (1956), carbon as (100 - percent ash) / 1.8, to within 2 to 10 percent, as "
           "equation 3.6 of Polprasert, Organic Waste Recycling (read in a web copy)"),
    Source("Chandler1980", "Chandler, J.A. et al. (1980), biodegradable share of volatile solids from lignin, 0.830 - "
           "0.028 times lignin in percent; recalled from memory, TO CHECK"),
    Source("LigninTable", "Lignin of organic materials as collected in tables of composting science; recalled from "
           "memory, TO CHECK"),
    Source("RateSynthesis", "First-order rates and degradable shares put together from memory of the literature, to "
           "half and double; no single source"),
    Source("Cooperband2002", "Cooperband, L. (2002), The Art and Science of Composting, table of optimal conditions: "
           "C:N 20 to 40, better 25 to 35; moisture 40 to 65, better 45 to 60 percent (read in a worksheet that reprints "
           "it)"),
    Source("Ergun1952", "Ergun, S. (1952), Fluid flow through packed columns, Chem. Eng. Prog. 48, 89; viscous part "
           "with 150"),
    Source("Richard2004", "Richard, T.L., Veeken, A.H.M., de Wilde, V., Hamelers, H.V.M. (2004), Air-filled porosity "
           "and permeability relationships during solid-state fermentation, Biotechnol. Prog. 20, 1372 (abstract read): "
           "particle size fitted to the Ergun equation"),
    Source("MillingtonQuirk1961", "Millington, R.J., Quirk, J.P. (1961), Permeability of porous solids, Trans. Faraday "
           "Soc. 57, 1200; recalled from memory, TO CHECK"),
    Source("Buckingham1904", "Buckingham, E. (1904), Contributions to our knowledge of the aeration of soils, USDA Bureau of "
           "Soils Bulletin 25; the square law, TO CHECK"),
    Source("Marshall1959", "Marshall, T.J. (1959), The diffusion of gases through porous media, J. Soil Sci. 10, 79; "
           "recalled from memory, TO CHECK"),
    Source("Thornton1917", "Thornton, W.M. (1917), heat of combustion per oxygen of organic compounds, Phil. Mag. 33, 196; "
           "recalled from memory, TO CHECK"),
    Source("Calonne2011", "Calonne, N. et al. (2011), effective thermal conductivity of snow 2.5e-6 rho^2 - 1.23e-4 "
           "rho + 0.024, Geophys. Res. Lett. 38"),
    Source("Lemmon2004", "Lemmon, E.W., Jacobsen, R.T. (2004), Viscosity and thermal conductivity equations for nitrogen, "
           "oxygen, argon, and air, Int. J. Thermophys. 25, as evaluated by CoolProp"),
    Source("FAO56", "Allen, R.G., Pereira, L.S., Raes, D., Smith, M. (1998), Crop Evapotranspiration, FAO Irrigation and "
           "Drainage Paper 56; numbers of worked examples 8, 9, 11, 14 and 15 from a copy, not from the paper itself"),
    Source("Erbs1982", "Erbs, D.G., Klein, S.A., Duffie, J.A. (1982), Estimation of the diffuse radiation fraction for "
           "hourly, daily and monthly-average global radiation, Solar Energy 28 (4), 293-302, as implemented by pvlib"),
    Source("Berdahl1984", "Berdahl, P., Martin, M. (1984), Emissivity of clear skies, Solar Energy 32 (5), 663-664; "
           "coefficients from copies in public code"),
    Source("Martin1984", "Martin, M., Berdahl, P. (1984), Characteristics of infrared sky radiation in the United States, "
           "Solar Energy 33 (3/4), 321-336: cloud; formula recalled from memory"),
    Source("EN1991-1-4", "EN 1991-1-4, Eurocode 1, wind actions: tables 7.4a and 7.4b, duopitch roofs, from a copy; made for "
           "roofs on walls, used here for a pile on the ground for want of better"),
    Source("EN1991-1-3", "EN 1991-1-3, Eurocode 1, snow loads: shape coefficient of pitched roofs, recalled from memory"),
    Source("USACE1956", "U.S. Army Corps of Engineers (1956), Snow Hydrology: share of snow against air temperature, "
           "recalled from memory"),
    Source("Hedstrom1998", "Hedstrom, N.R., Pomeroy, J.W. (1998), Measurements and modelling of snow interception in the "
           "boreal forest, Hydrological Processes 12, 1611-1625; density of fresh snow, from copies in public code"),
    Source("Verseghy1991", "Verseghy, D.L. (1991), CLASS, a Canadian land surface scheme for GCMs, Int. J. Climatol. 11: "
           "settling of snow, recalled from memory"),
    Source("Douville1995", "Douville, H., Royer, J.-F., Mahfouf, J.-F. (1995), A new snow parameterization, Climate Dynamics "
           "12: ageing of snow albedo, recalled from memory"),
    Source("Richardson1981", "Richardson, C.W. (1981), Stochastic simulation of daily precipitation, temperature, and solar "
           "radiation, Water Resources Research 17, 182-190: anomalies as first-order autoregression; recalled from memory"),
    Source("CommonPractice", "Common practice of the trade, no source"),
    Source("Tuned", "Chosen so that facts of practice come out of the model; not a measurement"),
    Source("Guess", "A guess of the right order"),
)

SOURCES: dict[str, Source] = {source.key: source for source in _ALL}
